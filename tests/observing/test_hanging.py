"""Servers that hang, which is worse than gone: they take a connection and never answer it."""

import contextlib
import html
import os
import secrets
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis
import requests

from deploy.tools import throwaway
from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until

WEB = ["--interface", "wsgi", "--workers", "1", "--blocking-threads", "2"]


@pytest.fixture
def servers(tmp_path) -> Iterator[dict[str, str]]:
    """Servers of this test's own, as the environment of a web process names them."""
    with throwaway.postgresql() as database, throwaway.redis() as queue:
        yield {
            "DATABASE_URL": database,
            "REDIS_URL": queue,
            "SAMESPOOL_SECRET_KEY": secrets.token_urlsafe(50),
            "SAMESPOOL_VAR": str(tmp_path),
        }


@pytest.fixture
def web(servers, tmp_path) -> Iterator[str]:
    port = free_port()
    granian = str(Path(sys.executable).with_name("granian"))
    command = [granian, *WEB, "--port", str(port), "deploy.wsgi:application"]
    with (
        (tmp_path / "web.log").open("wb") as log,
        running(command, env={**os.environ, **servers}, stdout=log, stderr=log),
    ):
        address = f"http://127.0.0.1:{port}"
        wait_until(lambda: lives(address), "The web process")
        yield address


def lives(address: str) -> bool:
    with contextlib.suppress(requests.ConnectionError, requests.Timeout):
        return requests.get(f"{address}/healthz", timeout=TIMEOUT_S).ok
    return False


def parts(address: str) -> dict[str, str]:
    """What readiness tells before a health check would give it up."""
    return requests.get(f"{address}/readyz", timeout=TIMEOUT_S).json()["parts"]


@contextlib.contextmanager
def hanging(process: int) -> Iterator[None]:
    os.kill(process, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(process, signal.SIGCONT)


def postmaster(url: str) -> int:
    """The process that takes connections: the parent of whichever serves one."""
    with psycopg.connect(url) as connection:
        served = connection.info.backend_pid
        return int(Path(f"/proc/{served}/stat").read_text().rsplit(")", 1)[1].split()[1])


def test_readiness_names_a_server_that_hangs_while_it_hangs_and_the_process_lives(servers, web):
    database = postmaster(servers["DATABASE_URL"])
    with redis.from_url(servers["REDIS_URL"]) as asked:
        queue = asked.info("server")["process_id"]

    with hanging(database), hanging(queue):
        answer = parts(web)
        alive = lives(web)

    assert alive
    assert answer["database"].startswith("does not answer")
    assert answer["queue"] == "does not answer (TimeoutError)"
    assert answer["migrations"] == "not checked: no database"
    again = parts(web)
    assert (again["database"], again["queue"]) == ("ok", "ok")


def test_while_the_database_is_gone_everyone_is_asked_to_come_back(servers, web, tmp_path):
    os.kill(postmaster(servers["DATABASE_URL"]), signal.SIGINT)
    wait_until(
        lambda: requests.get(f"{web}/readyz", timeout=TIMEOUT_S).status_code == 503, "The end"
    )
    asked = requests.get(f"{web}/api/v1/pools", timeout=TIMEOUT_S)
    sent = requests.post(
        f"{web}/api/v1/sessions", headers={"Authorization": f"Token {'a' * 64}"}, timeout=TIMEOUT_S
    )
    page = requests.get(f"{web}/", timeout=TIMEOUT_S)

    for answer in (asked, sent):
        assert answer.status_code == 503
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.json()["type"] == "/problems/unavailable"
    assert page.status_code == 503
    assert "The database can't be reached at the moment" in html.unescape(page.text)
    assert [int(answer.headers["Retry-After"]) for answer in (asked, sent, page)] == [5, 5, 5]
    measured = requests.get(f"{web}/metrics", timeout=TIMEOUT_S)
    assert measured.status_code == 200
    assert "samespool_database_up 0.0" in measured.text
    log = (tmp_path / "web.log").read_text()
    assert '"event": "not ready: answered 503"' in log
    assert log.count('"event": "answered 503: ') + log.count('"status": 503') == 3
