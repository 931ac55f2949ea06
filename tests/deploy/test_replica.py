"""A web process whose database is a streaming replica serves readers, and says when it is unfit."""

import re
import subprocess
from contextlib import ExitStack
from fnmatch import fnmatch
from types import SimpleNamespace

import requests

from deploy.tools import throwaway
from deploy.tools.processes import wait_until
from tests.deploy.files import ROOT, commands, here
from tests.deploy.test_as_deployed import (
    TIMEOUT_S,
    bare,  # noqa: F401, a fixture
    fit_to_read,
    send,
    start,
    start_web,
    token,
)

PROXY = (ROOT / "deploy" / "Caddyfile.replica").read_text()
ADDRESSES = [
    "/",
    "/pools/1/",
    "/connections/1/",
    "/lines/1/",
    "/open-data/",
    "/api/v1/pools",
    "/api/v1/pools/1",
    "/api/v1/pools/1/sets",
    "/api/v1/pools/1/versions",
    "/api/v1/lines",
    "/api/v1/connections",
    "/api/v1/open-data",
]


def read(address: str, path: str) -> requests.Response:
    return requests.get(address + path, headers={"Host": "127.0.0.1"}, timeout=TIMEOUT_S)


def comparable(response: requests.Response) -> tuple:
    return response.status_code, response.headers.get("ETag"), response.content


def test_a_reader_says_what_the_primary_says_and_when_it_is_unfit(bare):  # noqa: F811
    migrate = here(commands()["compose migrate"])
    subprocess.run(migrate, env=bare.environment, cwd=ROOT, check=True, capture_output=True)
    bare.token = token(bare)
    with ExitStack() as copy:
        url = copy.enter_context(throwaway.replica(bare.environment["DATABASE_URL"]))
        environment = {**bare.environment, "DATABASE_URL": url}
        reading = SimpleNamespace(**{**vars(bare), "environment": environment})
        (bare.folder / "reader").mkdir()
        reading.folder = bare.folder / "reader"
        reader, web = start_web(reading), start_web(bare)
        start(bare, "samespool-worker.service")
        start(bare, "samespool-later.service")

        job = send(web, bare, "2026-01-11").json()["job"]["url"]
        done = lambda: requests.get(job, timeout=TIMEOUT_S).json()["state"] == "done"  # noqa: E731
        wait_until(done, "The job", TIMEOUT_S)
        drawn = lambda: read(web, "/pools/1/forest.svg").ok  # noqa: E731
        wait_until(drawn, "The drawing", TIMEOUT_S)

        # What comes later still changes the primary, so both are asked anew until they agree.
        for path in ADDRESSES:
            agree = lambda path=path: comparable(read(reader, path)) == comparable(read(web, path))  # noqa: E731
            wait_until(agree, f"The replica's {path}")
            assert read(reader, path).status_code == 200, path
        assert fit_to_read(reader).json()["parts"]["database"] == "ok"

        bare.database.close()
        assert read(reader, "/api/v1/pools").status_code == 200
        wait_until(lambda: fit_to_read(reader).status_code == 503, "The replica's loneliness")
        assert "not connected" in fit_to_read(reader).json()["parts"]["database"]
    gone = read(reader, "/api/v1/pools")
    assert (gone.status_code, gone.headers["Retry-After"]) == (503, "5")


def test_the_proxy_sends_to_the_replica_only_what_is_the_same_for_everyone():
    to_reader = re.search(r"@public \{(.*?)\n\t\}", PROXY, re.S)[1]
    assert "method GET HEAD" in to_reader
    assert "not header Authorization *" in to_reader
    assert "not header Cookie *" in to_reader
    patterns = re.search(r"path (.+)", to_reader)[1].split()
    for path in ADDRESSES:
        assert any(fnmatch(path, pattern) for pattern in patterns), path
    own = ("/bench/", "/jobs/x/", "/accounts/login/", "/admin/", "/api/v1/jobs/x", "/api/v1/me")
    for path in own:
        assert not any(fnmatch(path, pattern) for pattern in patterns), path


def test_but_for_the_replica_both_files_of_the_proxy_say_the_same():
    alone = (ROOT / "deploy" / "Caddyfile").read_text()
    without = re.sub(r"\t# What everyone may read.*?(?=\t# A slow upload)", "", PROXY, flags=re.S)
    assert without[without.index("{$") :] == alone[alone.index("{$") :]
