"""How fast sessions come in, over HTTP to a real server on PostgreSQL: `deploy/bench intake`.

Sends sessions of 100, 1 000 and 10 000 pulls to the service, to two peers and to the floor of
``deploy.benchmarks.intake_peers``, in turns; then watches the server's memory over many uploads,
and sends 50 at once. A worker is not started: what is measured ends where the job waits.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import django
import msgspec
import numpy as np
import requests
from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application

from deploy.demo.client import Client
from deploy.tools import throwaway
from deploy.tools.processes import free_port, running, wait_until

SIZES = (100, 1_000, 10_000)
SET_SIZE = 20
STRAIGHT = 10
AT_ONCE = 50
PEERS = ("service", "floor", "bulk", "save")
FLOORS_AIM, BULK_AIM = 3.0, 4.0


TESTER = "bench"
WORLD = [
    (
        "/rigs",
        {
            "name": "bench",
            "revision": {
                "made_on": "2025-10-04",
                "load_generation": "hand winch",
                "indicator": "digital scale",
                "peak_capture": "peak hold",
                "resolution": "0.001 lbf",
                "capacity": "110 lbf",
                "first_grip": "bollard",
                "second_grip": "bollard",
            },
        },
    ),
    (
        "/lines",
        {"name": "main", "material": "nylon monofilament", "label_strength": "15 lbf"},
    ),
    (
        "/lines",
        {"name": "leader", "material": "nylon monofilament", "label_strength": "40 lbf"},
    ),
    ("/connections", {"name": "Double uni", "kind": "line to line"}),
]


@dataclass(frozen=True)
class Server:
    """A running server: where it is, its process, and what a client needs to write to it."""

    address: str
    process: subprocess.Popen[bytes]
    token: str
    pull_set: int

    def send(self, peer: str, body: bytes) -> float:
        """Seconds until the answer; raises where it is a refusal."""
        url = f"{self.address}/peers/{peer}/{self.pull_set}"
        if peer == "service":
            url = f"{self.address}/api/v1/sessions"
        headers = {"Authorization": f"Token {self.token}", "Content-Type": "application/json"}
        begun = time.perf_counter()
        with requests.Session() as http:
            http.trust_env = False
            answer = http.post(url, body, headers=headers, timeout=120)
        took = time.perf_counter() - begun
        if answer.status_code not in (201, 202):
            raise RuntimeError(f"{peer}: {answer.status_code} {answer.text[:500]}")
        return took

    def memory_MiB(self) -> float:
        """Resident memory of the server and its workers."""
        family = subprocess.run(
            ["ps", "-o", "rss=", "--sid", str(self.process.pid)],
            check=True,
            capture_output=True,
            text=True,
        )
        return sum(map(int, family.stdout.split())) / 1024


def main() -> None:
    """Measure, and print a table of each."""
    options = _options()
    with throwaway.postgresql() as database, throwaway.redis() as queue:
        os.environ |= {
            "DATABASE_URL": database,
            "REDIS_URL": queue,
            "SAMESPOOL_SECRET_KEY": "only-for-this-benchmark-which-no-one-else-can-reach-at-all",
            "SAMESPOOL_DATABASE_POOL": "true",
        }
        _prepare()
        with _serving() as server:
            draw = Draw(options.random_state)
            _speed(server, draw, options.repeats)
            _memory(server, draw, options.uploads)
            _crowd(server, draw)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench intake", description=__doc__)
    parser.add_argument("--repeats", type=int, default=5, help="uploads of each size and peer")
    parser.add_argument("--uploads", type=int, default=200, help="uploads while watching memory")
    parser.add_argument("--random-state", type=int, default=1, help="of the readings")
    return parser.parse_args()


def _speed(server: Server, draw: Draw, repeats: int) -> None:
    print(f"Median of {repeats} uploads in ms, sets of {SET_SIZE} pulls\n")
    names = "".join(f"{peer:>10}" for peer in PEERS)
    print(f"{'pulls':>7}{names}   /floor   bulk/   save/")
    for pulls in SIZES:
        taken: dict[str, list[float]] = {peer: [] for peer in PEERS}
        for peer in PEERS:
            server.send(peer, draw.session(100))
        for _ in range(repeats):
            for peer in PEERS:
                if peer != "save" or pulls < max(SIZES) or not taken[peer]:
                    taken[peer].append(server.send(peer, draw.session(pulls)))
        middle = {peer: statistics.median(times) for peer, times in taken.items()}
        own = middle["service"]
        times = "".join(f"{1000 * middle[peer]:>10.1f}" for peer in PEERS)
        bulk, save = middle["bulk"] / own, middle["save"] / own
        print(f"{pulls:>7}{times}{own / middle['floor']:>9.2f}{bulk:>8.2f}{save:>8.1f}", flush=True)
    print(
        f"\nAims at {max(SIZES)}: at most {FLOORS_AIM:g} floors, bulk at least {BULK_AIM:g} times."
    )


def _memory(server: Server, draw: Draw, uploads: int) -> None:
    print(f"\nResident memory in MiB over {uploads} uploads of 1 000 pulls, then 5 of 10 000")
    marks = [server.memory_MiB()]
    for number in range(1, uploads + 1):
        server.send("service", draw.session(1_000))
        if number % max(1, uploads // 5) == 0:
            marks.append(server.memory_MiB())
    for _ in range(5):
        server.send("service", draw.session(10_000))
    marks.append(server.memory_MiB())
    print("  ".join(f"{mark:.0f}" for mark in marks), flush=True)


def _crowd(server: Server, draw: Draw) -> None:
    bodies = [draw.session(1_000) for _ in range(AT_ONCE)]
    begun = time.perf_counter()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        taken = sorted(pool.map(lambda body: server.send("service", body), bodies))
    whole = time.perf_counter() - begun
    print(
        f"\n{AT_ONCE} uploads of 1 000 pulls at once: no error, all in {whole:.2f} s, "
        f"the slowest {taken[-1]:.2f} s",
        flush=True,
    )


class Draw:
    """Sessions that are all different."""

    def __init__(self, random_state: int) -> None:
        self.rng = np.random.default_rng(random_state)

    def session(self, pulls: int) -> bytes:
        """A session document of so many pulls in all."""
        sets = (pulls - STRAIGHT) // SET_SIZE
        straight = pulls - sets * SET_SIZE
        return msgspec.json.encode(
            {
                "rig": "bench",
                "revision": 1,
                "pulled_on": "2026-01-10",
                "state": "dry",
                "unit": "lbf",
                "baselines": [{"line": "main", "pulls": self._pulls(straight, 21.0, "line", "")}],
                "pull_sets": [
                    {
                        "label": f"set {number}",
                        "connection": "Double uni",
                        "main": {"line": "main", "spool": ""},
                        "leader": {"line": "leader", "spool": ""},
                        "pulls": self._pulls(SET_SIZE, 15.5, "join", "main"),
                    }
                    for number in range(sets)
                ],
            }
        )

    def _pulls(self, number: int, mean: float, mode: str, place: str) -> list[dict[str, Any]]:
        readings = np.round(self.rng.normal(mean, 0.06 * mean, number), 3).tolist()
        return [{"reading": reading, "failure_mode": mode, "place": place} for reading in readings]


@contextmanager
def _serving() -> Iterator[Server]:
    """A server with four threads, and one tester with a rig, lines and a first session."""
    port = free_port()
    command = [str(Path(sys.executable).with_name("granian")), "--interface", "wsgi"]
    command += ["--host", "127.0.0.1", "--port", str(port), "--workers", "1"]
    command += ["--blocking-threads", "4", "--backlog", "1024", "--factory"]
    command += ["deploy.benchmarks.intake:application"]
    address = f"http://127.0.0.1:{port}"
    with tempfile.TemporaryFile() as log, running(command, stdout=log, stderr=log) as process:
        wait_until(lambda: _answers(address), "The server")
        tester = Client(address, TESTER, TESTER)
        for path, document in WORLD:
            tester.post(path, document)
        session = tester.post("/sessions", json.loads(Draw(0).session(100)))["session"]
        pull_set = tester.get(session)["pull_sets"][0]["id"]
        yield Server(address, process, tester.token, pull_set)


def _answers(address: str) -> bool:
    try:
        Client(address).get("/pools")
    except requests.ConnectionError:
        return False
    return True


def _prepare() -> None:
    """Tables and a tester's account."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    call_command("migrate", verbosity=0)
    user = get_user_model().objects.create_user(TESTER, password=TESTER)
    apps.get_model("rigs", "Contributor").objects.create(user=user, handle=TESTER)


def application() -> WSGIHandler:
    """The service with the peers beside it, for the server."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    settings.ROOT_URLCONF = "deploy.benchmarks.intake_peers"
    return get_wsgi_application()


if __name__ == "__main__":
    main()
