"""Web processes on the run's database and Redis, and a browser that asks them."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import requests

from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until
from tests.workers import database_url

GRANIAN = [str(Path(sys.executable).with_name("granian")), "--interface", "wsgi", "--workers", "1"]


@contextlib.contextmanager
def serving(folder: Path, **environment: str) -> Iterator[str]:
    """The address of a web process, from when it lives until the block ends."""
    port = free_port()
    command = [*GRANIAN, "--port", str(port), "deploy.wsgi:application"]
    with (
        (folder / f"web-{port}.log").open("wb") as log,
        running(
            command,
            env={**os.environ, "DATABASE_URL": database_url(), **environment},
            stdout=log,
            stderr=subprocess.STDOUT,
        ),
    ):
        address = f"http://127.0.0.1:{port}"
        wait_until(lambda: _lives(address), "The web process")
        yield address


def _lives(address: str) -> bool:
    with contextlib.suppress(requests.ConnectionError):
        return requests.get(f"{address}/healthz", timeout=TIMEOUT_S).ok
    return False


class Browser:
    """Keeps cookies, and sends with each form the token that the page before it gave."""

    def __init__(self, address: str) -> None:
        self.address, self.session = address, requests.Session()

    def get(self, path: str) -> requests.Response:
        return self.session.get(self.address + path, timeout=TIMEOUT_S, allow_redirects=False)

    def post(self, path: str, **form: str) -> requests.Response:
        self.get(path)
        token = {"csrfmiddlewaretoken": self.session.cookies["csrftoken"]}
        return self.session.post(
            self.address + path, {**form, **token}, timeout=TIMEOUT_S, allow_redirects=False
        )
