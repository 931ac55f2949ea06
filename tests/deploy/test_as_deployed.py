"""The very commands of compose.yaml and of the units, run as processes on servers of their own."""

import contextlib
import json
import os
import re
import secrets
import socket
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
import redis
import requests
from prometheus_client.parser import text_string_to_metric_families

from deploy.tools import throwaway
from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until
from tests.deploy.files import ROOT, commands, here

"""Several of the processes start at once, each a few seconds of work for the machine."""

LINE_PULLS = [{"reading": n, "failure_mode": "line"} for n in (99, 98, 101, 100)]
JOIN_PULLS = [{"reading": n, "failure_mode": "join"} for n in (80, 83, 78, 81)]
SESSION = {
    "rig": "shed winch",
    "revision": 1,
    "state": "dry",
    "unit": "N",
    "baselines": [{"line": "thin", "pulls": LINE_PULLS}],
    "pull_sets": [
        {
            "label": "a",
            "connection": "Blood",
            "main": {"line": "thin"},
            "leader": {"line": "thick"},
            "pulls": JOIN_PULLS,
        }
    ],
}
# An administrator would do this in the admin.
A_TESTER = """
from knox.models import AuthToken
from tests import making
from tests.people import contributor
owner = contributor("owner")
making.revision_of(owner), making.line("thin"), making.line("thick"), making.connection()
print("token", AuthToken.objects.create(owner.user)[1])
"""


@contextlib.contextmanager
def servers(folder: Path):
    """Servers that can be stopped, and the environment that the files ask for."""
    with contextlib.ExitStack() as stack:
        database = stack.enter_context(contextlib.ExitStack())
        queue = stack.enter_context(contextlib.ExitStack())
        (folder / "counts").mkdir()
        environment = {
            **os.environ,
            "DATABASE_URL": database.enter_context(throwaway.postgresql()),
            "REDIS_URL": queue.enter_context(throwaway.redis()),
            "SAMESPOOL_SECRET_KEY": secrets.token_urlsafe(50),
            "SAMESPOOL_VAR": str(folder),
            "SAMESPOOL_SWEEP_SECONDS": "0.5",
            "SAMESPOOL_METRICS_TOKEN": "of the scraper",
            "PROMETHEUS_MULTIPROC_DIR": str(folder / "counts"),
        }
        yield SimpleNamespace(
            environment=environment, database=database, queue=queue, folder=folder, stack=stack
        )


@pytest.fixture
def bare(tmp_path):
    """Servers with nothing on them, for one test."""
    with servers(tmp_path) as world:
        yield world


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    """Servers of all tests that need tables: migrated, with static files and one tester."""
    with servers(tmp_path_factory.mktemp("deployed")) as world:
        for once in ("compose migrate", "compose collect"):
            subprocess.run(
                here(commands()[once]),
                env=world.environment,
                cwd=ROOT,
                check=True,
                capture_output=True,
            )
        world.token = token(world)
        yield world


@pytest.fixture
def deployed(prepared, tmp_path):
    """The prepared servers; processes end with the test."""
    with contextlib.ExitStack() as stack:
        yield SimpleNamespace(**{**vars(prepared), "stack": stack, "folder": tmp_path})


def start(world, name: str, **more) -> Path:
    """Run a named command until the test ends; returns its log."""
    log = world.folder / f"{name}.log"
    out = world.stack.enter_context(log.open("wb"))
    command = here(commands()[name], **more)
    options = {"env": world.environment, "cwd": ROOT, "stdout": out, "stderr": out}
    world.stack.enter_context(running(command, **options))
    return log


def start_web(world, name: str = "samespool-web@.service") -> str:
    port = free_port()
    start(world, name, port=port)
    address = f"http://127.0.0.1:{port}"
    wait_until(lambda: answers(f"{address}/healthz"), f"The web process ({name})", TIMEOUT_S)
    return address


def answers(address: str) -> bool:
    try:
        return requests.get(address, timeout=TIMEOUT_S).ok
    except requests.RequestException:
        return False


def ready(address: str) -> requests.Response:
    return requests.get(f"{address}/readyz", timeout=TIMEOUT_S)


def fit_to_read(address: str) -> requests.Response:
    return requests.get(f"{address}/readyz?for=reading", timeout=TIMEOUT_S)


def token(world) -> str:
    made = subprocess.run(
        [str(ROOT / ".venv/bin/python"), "manage.py", "shell", "-c", A_TESTER],
        env=world.environment,
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    return next(line.split()[1] for line in made.stdout.splitlines() if line.startswith("token"))


def send(address: str, world, pulled_on: str) -> requests.Response:
    headers = {"Authorization": f"Token {world.token}"}
    document = {**SESSION, "pulled_on": pulled_on}
    sent = f"{address}/api/v1/sessions"
    accepted = requests.post(sent, json=document, headers=headers, timeout=TIMEOUT_S)
    assert accepted.status_code == 202, accepted.text
    return accepted


def worked_out(log: Path) -> list[dict]:
    """The lines on jobs that came to their end, of a worker's log."""
    answer = [json.loads(line) for line in log.read_text().splitlines() if line.startswith("{")]
    return [line for line in answer if line["event"] == "session normalised and screened"]


@pytest.mark.parametrize(
    ("files", "web", "pulled_on"),
    [
        ("compose {}", "compose web", "2026-01-11"),
        ("samespool-{}.service", "samespool-web@.service", "2026-01-12"),
    ],
    ids=["compose", "units"],
)
def test_an_upload_is_worked_out_by_the_processes_that_the_files_name(
    deployed, files, web, pulled_on
):
    address = start_web(deployed, web)
    assert ready(address).json()["ready"] is True
    accepted = send(address, deployed, pulled_on)
    redis.from_url(deployed.environment["REDIS_URL"]).flushall()  # only the scheduler helps now

    worker = start(deployed, files.format("worker"))
    start(deployed, files.format("scheduler"))

    job = accepted.json()["job"]["url"]
    wait_until(
        lambda: requests.get(job, timeout=TIMEOUT_S).json()["state"] == "done",
        "The job",
        TIMEOUT_S,
    )
    assert [line["job"] for line in worked_out(worker)] == [job.rsplit("/", 1)[1]]
    style = re.search(r'href="(/static/[^"]+\.css)"', requests.get(address, timeout=TIMEOUT_S).text)
    assert requests.get(address + style[1], timeout=TIMEOUT_S).ok


def test_the_request_that_sent_a_session_is_named_where_its_job_was_worked_out(deployed):
    address = start_web(deployed)
    worker = start(deployed, "samespool-worker.service")

    accepted = send(address, deployed, "2026-01-13")

    wait_until(lambda: bool(worked_out(worker)), "The job", TIMEOUT_S)
    assert worked_out(worker)[0]["request_id"] == accepted.headers["X-Request-ID"]


def test_requests_of_all_web_processes_are_in_every_scrape(deployed):
    address = start_web(deployed)
    for _ in range(40):  # each on a connection of its own, so that both processes are asked
        requests.get(f"{address}/healthz", timeout=TIMEOUT_S, headers={"Connection": "close"})

    counts = {counted(address) for _ in range(6)}

    files = Path(deployed.environment["PROMETHEUS_MULTIPROC_DIR"]).glob("counter_*.db")
    assert len(list(files)) >= 2
    assert len(counts) == 1
    assert counts.pop() >= 40


@pytest.mark.parametrize("known", [True, False], ids=["too large", "unknown sender"])
def test_a_body_that_is_refused_unread_is_answered_and_not_cut_off(deployed, known):
    port = int(start_web(deployed).rsplit(":", 1)[1])
    token = deployed.token if known else "nobodys"
    head = f"Host: 127.0.0.1\r\nAuthorization: Token {token}\r\nContent-Type: text/csv\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=TIMEOUT_S) as client:
        client.sendall(f"POST /api/v1/sessions HTTP/1.1\r\n{head}".encode())
        client.sendall(b"Content-Length: 11000000\r\n\r\n")
        for _ in range(110):  # the whole of it before the answer is read, as a proxy does
            client.sendall(b" " * 100_000)
        assert client.recv(12) == (b"HTTP/1.1 413" if known else b"HTTP/1.1 401")


def test_a_web_process_tells_which_of_its_servers_is_gone_and_lives_on(bare):
    address = start_web(bare)
    parts = ready(address).json()["parts"]
    assert (parts["database"], parts["queue"], parts["files"]) == ("ok", "ok", "ok")
    assert "results.0001_initial" in parts["migrations"]  # nobody has migrated yet

    bare.queue.close()
    without_queue = ready(address)
    bare.database.close()
    without_both = ready(address)

    assert without_queue.status_code == without_both.status_code == 503
    parts = without_queue.json()["parts"]
    assert (parts["database"], parts["files"]) == ("ok", "ok")
    assert parts["queue"].startswith("does not answer")
    assert without_both.json()["parts"]["database"].startswith("does not answer")
    assert requests.get(f"{address}/healthz", timeout=TIMEOUT_S).status_code == 200


def counted(address: str) -> float:
    """How often /healthz was answered, by any of the processes."""
    headers = {"Authorization": "Bearer of the scraper"}
    text = requests.get(f"{address}/metrics", headers=headers, timeout=TIMEOUT_S).text
    name = "django_http_responses_total_by_status_view_method_total"
    return next(
        sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
        if sample.name == name and sample.labels["view"] == "live"
    )
