"""Schemathesis on a real server over PostgreSQL, Redis and a worker: `deploy/bench fuzz`.

As a contributor, as a moderator and as a stranger, on a small league. What it looks for: an
answer of 500, and any answer outside the OpenAPI document.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import django
import numpy as np
import requests
from django.core.management import call_command

from deploy.demo.client import Client
from deploy.tools import throwaway
from deploy.tools.fuzzing import fuzz
from deploy.tools.processes import exit_on_sigterm, free_port, running, wait_until

TESTERS, SESSIONS = 3, 2


def main() -> int:
    """Fuzz as each person and print what was found; the exit code is 0 where that is nothing."""
    exit_on_sigterm()
    parser = argparse.ArgumentParser(prog="deploy/bench fuzz", description=__doc__)
    parser.add_argument("--examples", type=int, default=5, help="random ones for each operation")
    parser.add_argument("--random-state", type=int, default=1, help="of what is sent")
    options = parser.parse_args()
    tried, failures, said = 0, 0, ""
    with _serving() as (address, people):
        print(f"{'as':<14}{'operations':>11}{'examples':>10}{'failures':>10}{'seconds':>9}")
        for person, authorization in people.items():
            with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
                begun = time.monotonic()
                found = fuzz(
                    address, authorization, options.examples, Path(folder), options.random_state
                )
            took = time.monotonic() - begun
            counts = f"{found.operations:>11}{found.examples:>10}{len(found.failures):>10}"
            print(f"{person:<14}{counts}{took:>9.0f}", flush=True)
            tried, failures = tried + found.examples, failures + len(found.failures)
            said += found.said if found.failures else ""
    print(f"\n{tried} examples, {failures} kinds of failure\n{said}")
    return 1 if failures else 0


@contextlib.contextmanager
def _serving() -> Iterator[tuple[str, dict[str, dict[str, str]]]]:
    """Address of a server with a league in it, and for each person the headers to send."""
    with (
        throwaway.postgresql() as database,
        throwaway.redis() as queue,
        tempfile.TemporaryDirectory(prefix="samespool-") as folder,
    ):
        os.environ |= {
            "DATABASE_URL": database,
            "REDIS_URL": queue,
            "SAMESPOOL_VAR": folder,
            "SAMESPOOL_SECRET_KEY": "only-for-this-benchmark-which-no-one-else-can-reach-at-all",
            "SAMESPOOL_TWO_FACTOR": "false",
            "SAMESPOOL_REQUESTS_A_MINUTE": "1000000",
            "OMP_NUM_THREADS": "1",
        }
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
        django.setup()
        call_command("migrate", verbosity=0)
        port = free_port()
        with _processes(port, Path(folder)):
            address = f"http://127.0.0.1:{port}"
            wait_until(lambda: _answers(address), "The server")
            yield address, _league(address)


@contextlib.contextmanager
def _processes(port: int, folder: Path) -> Iterator[None]:
    """A server and a worker."""
    programs = Path(sys.executable).parent
    server = [str(programs / "granian"), "--interface", "wsgi", "--host", "127.0.0.1"]
    server += ["--port", str(port), "--blocking-threads", "4", "deploy.wsgi:application"]
    worker = [str(programs / "celery"), "-A", "deploy", "worker", "--beat", "--concurrency", "1"]
    worker += ["--schedule", str(folder / "schedule")]
    with (
        (folder / "log").open("wb") as log,
        running(server, stdout=log, stderr=log),
        running(worker, stdout=log, stderr=log),
    ):
        yield


def _answers(address: str) -> bool:
    try:
        Client(address).get("/clubs")
    except requests.ConnectionError:
        return False
    return True


def _league(address: str) -> dict[str, dict[str, str]]:
    """Send the league; the operation that ends a token gets one of its own to end."""
    from deploy.demo.accounts import MODERATOR, PASSWORD, make_accounts  # noqa: PLC0415
    from deploy.demo.send import send_league  # noqa: PLC0415
    from deploy.demo.simulate import draw_world  # noqa: PLC0415

    world = draw_world(np.random.default_rng(1), testers=TESTERS)
    league = [{**each, "sessions": each["sessions"][:SESSIONS]} for each in world]
    make_accounts({each["handle"]: each["club"] for each in league})
    send_league(address, league)
    people: dict[str, dict[str, str]] = {}
    for person, name in (("contributor", league[0]["handle"]), ("moderator", MODERATOR)):
        tokens = [Client(address, name, PASSWORD).token for _ in range(2)]
        basic = base64.b64encode(f"{name}:{PASSWORD}".encode()).decode()
        people[person] = {
            "": f"Token {tokens[0]}",
            "tokens_delete": f"Token {tokens[1]}",
            "tokens_create": f"Basic {basic}",
        }
    return {**people, "stranger": {}}


if __name__ == "__main__":
    sys.exit(main())
