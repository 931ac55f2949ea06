"""A client generated from the OpenAPI document does all that an integrator needs."""

import importlib
import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from deploy.tools.openapi.release import document
from results.models import Job
from results.worker import embedded
from tests.api.documents import REVISION
from tests.api.leagues import league_of
from tests.people import contributor

CONFIGURATION = Path("api/python-client.yaml").resolve()
PASSWORD = "a long one for the tests"
SHEET = """\
rig,revision,date,state,kind,label,connection,main line,leader line,reading (N),failure mode
shed winch,1,2026-01-12,dry,straight,,,thin,,101,line
,,,,straight,,,thin,,99,line
,,,,straight,,,thin,,100,line
,,,,joined,b,Blood,thin,thick nylon monofilament,81,join
,,,,joined,b,,,,79,join
,,,,joined,b,,,,83,join
"""


@pytest.fixture(scope="module")
def generated(tmp_path_factory):
    """The client's package, made without a finding but of workbooks and loggers' text."""
    folder = tmp_path_factory.mktemp("client")
    (folder / "openapi.json").write_text(json.dumps(document()))
    command = [sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none"]
    command += ["--config", str(CONFIGURATION), "--path", "openapi.json"]
    command += ["--output-path", "samespool_client"]
    made = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True)
    said = made.stdout + made.stderr
    assert said.count("WARNING") == len(re.findall("Unsupported content[ _]type", said)) == 8, said
    assert "will not be generated" not in said
    sys.path.insert(0, str(folder))
    yield importlib.import_module("samespool_client")
    sys.path.remove(str(folder))


@pytest.fixture
def client_of(generated, live_server):
    """A client that carries a token, which it got by name and password."""

    def signed_in(name: str):
        person = contributor(name)
        person.user.set_password(PASSWORD)
        person.user.save()
        plain = generated.Client(base_url=live_server.url, httpx_args={"auth": (name, PASSWORD)})
        token = call(plain, "tokens.tokens_create").token
        return generated.AuthenticatedClient(base_url=live_server.url, token=token)

    return signed_in


def call(client, operation: str, *parts, **sent):
    """What an operation of the generated client answers; a problem fails the test."""
    module = importlib.import_module(f"samespool_client.api.{operation}")
    answer = module.sync(*parts, client=client, **sent)
    assert type(answer).__name__ != "Problem", answer
    return answer


def test_it_signs_in_registers_a_rig_uploads_waits_reads_compares_and_pages(
    client_of, generated, transactional_db
):
    league_of({"Blood": 80.0}, testers=4)
    client = client_of("newcomer")
    models = importlib.import_module("samespool_client.models")
    types = importlib.import_module("samespool_client.types")

    rig = call(
        client,
        "rigs.rigs_create",
        body=models.RigDocumentRequest.from_dict({"name": "shed winch", "revision": REVISION}),
    )
    assert rig.revisions[0].number == 1

    sheet = types.File(payload=SHEET.encode())
    preview = call(client, "sessions.sessions_create", body=sheet, dry_run=True)
    assert preview.pulls == 6
    by_sheet = call(client, "sessions.sessions_create", body=sheet, idempotency_key="one")
    assert call(client, "sessions.sessions_create", body=sheet, idempotency_key="one") == by_sheet
    as_document = models.UploadedSessionDocument.from_dict(session_document("2026-01-13"))
    by_document = call(client, "sessions.sessions_create", body=as_document)

    for receipt in (by_sheet, by_document):
        job = finished(client, receipt.job.id)
        assert job.state.value == "done", job.problem
    pool_id = int(job.pools[0].rpartition("/")[2])

    pool = call(client, "pools.pools_retrieve", pool_id)
    assert pool.current.testers == 5
    assert 0.7 < pool.current.efficiency < 0.9
    mine = call(client, "pools.pools_comparison", pool_id)
    assert (mine.own.sets, mine.others.testers) == (2, 4)

    pages = list(each_page(client, "pools.pools_sets_list", pool_id, limit=2))
    assert [len(page.results) for page in pages] == [2, 2, 2]
    assert pages[-1].next_ is None
    ranked = call(
        client,
        "pools.pools_ranking",
        main=pool.main_material,
        leader=models.MaterialEnum(pool.leader_material.value),
    )
    assert [place.pool.id for place in ranked.places] == [pool_id]


def session_document(day: str) -> dict:
    """The sheet's session of another day, as a document."""
    return {
        "rig": "shed winch",
        "revision": 1,
        "pulled_on": day,
        "state": "dry",
        "unit": "N",
        "baselines": [
            {
                "line": "thin",
                "pulls": [{"reading": n, "failure_mode": "line"} for n in (99, 98.5, 101)],
            }
        ],
        "pull_sets": [
            {
                "label": "a",
                "connection": "Blood",
                "main": {"line": "thin"},
                "leader": {"line": "thick nylon monofilament"},
                "pulls": [{"reading": n, "failure_mode": "join"} for n in (80, 84, 82)],
            }
        ],
    }


def finished(client, job_id):
    """The job once it is done; here it is worked off between two questions."""
    embedded.drain()
    for _ in range(50):
        job = call(client, "sessions.jobs_retrieve", job_id)
        if job.state.value in (Job.State.DONE, Job.State.FAILED):
            return job
        time.sleep(0.1)
    raise AssertionError(job)


def each_page(client, operation: str, *parts, limit: int):
    """Every page of a list, as long as there is a next one."""
    offset = 0
    while True:
        page = call(client, operation, *parts, limit=limit, offset=offset)
        yield page
        if page.next_ is None:
            return
        offset += limit
