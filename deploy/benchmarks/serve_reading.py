"""How fast a server is read, each address beside an empty view: a part of `deploy/bench serve`."""

from __future__ import annotations

import json
import subprocess
import sys
import time

import requests

from deploy.benchmarks.serve_load import Beside
from deploy.tools.processes import wait_until
from deploy.tools.shared_cache import in_front_of

CLIENTS = (1, 10, 50)
ROUNDS = 5
LOOKING_S, PAUSE_S = 20.0, 0.2
LOOKED_AT = ("empty view", "pool list", "one pool", "page of the pool")
TIMEOUT_S = 120.0
LOOKS = 9
"""Changes that are waited for."""


def print_reading(port: int, seconds: float) -> None:
    """Print a table for each number of clients; every figure is the median of the rounds.

    Once for clients that ask as fast as they are answered, which measures throughput, and
    once for clients that look a few times a second, which measures latency.
    """
    questions, bytes_of = _questions(port)
    looked_at = {name: questions[name] for name in LOOKED_AT}
    for clients in CLIENTS:
        print(
            f"\nReading with {clients} clients, {ROUNDS} rounds of {seconds / ROUNDS:g} s: ", end=""
        )
        _print(port, questions, bytes_of, clients, seconds / ROUNDS, ROUNDS, 0.0)
    for clients in CLIENTS:
        print(f"\n{clients} clients that look every {PAUSE_S:g} s, for {LOOKING_S:g} s: ", end="")
        _print(port, looked_at, bytes_of, clients, LOOKING_S, 1, PAUSE_S)


def print_shared_cache(port: int, seconds: float) -> None:
    """The same behind nginx as a shared cache, and how soon a change shows through it."""
    questions = {name: (path, "") for name, (path, etag) in _questions(port)[0].items() if not etag}
    of_empty = questions.pop("empty view")
    empty = {"first": of_empty, "again": of_empty}
    with in_front_of(f"127.0.0.1:{port}") as cache:
        for clients in CLIENTS:
            print(f"\nBehind a shared cache, {clients} clients: requests a second, and times those")
            print("of the empty view, which is asked without the cache; 99th percentile in ms\n")
            for name, (path, _) in questions.items():
                requests.get(f"http://127.0.0.1:{cache}{path}", timeout=TIMEOUT_S)
                part = seconds / ROUNDS
                nothing = _asked(port, empty, clients, part, ROUNDS, 0.0)[-1]
                asked = {"first": (path, ""), "again": (path, "")}
                found = _asked(cache, asked, clients, part, ROUNDS, 0.0)[-1]
                times = found.rate / nothing.rate
                print(
                    f"{name:32}{found.rate:>9.1f}{times:>8.1f}{found.nearly_all_ms:>8.1f}",
                    flush=True,
                )
        taken = sorted(_seen_after(cache, number) for number in range(LOOKS))
    print(
        f"\nA change shows after {taken[LOOKS // 2]:.2f} s, at most {taken[-1]:.2f} s", flush=True
    )


def _seen_after(cache: int, number: int) -> float:
    """Seconds until the pool list that the cache answers shows a join's new name."""
    from results.models import Connection, Pool  # noqa: PLC0415, models are ready now

    address = f"http://127.0.0.1:{cache}/api/v1/pools"
    requests.get(address, timeout=TIMEOUT_S)
    first = requests.get(address, timeout=TIMEOUT_S).json()["results"][0]
    connection = Connection.objects.get(pk=Pool.objects.get(pk=first["id"]).connection_id)
    connection.name = f"{connection.name.partition(' (')[0]} ({number})"
    connection.save()
    begun = time.perf_counter()
    wait_until(lambda: connection.name in requests.get(address, timeout=TIMEOUT_S).text, "The name")
    return time.perf_counter() - begun


def _print(
    port: int,
    questions: dict[str, tuple[str, str]],
    bytes_of: dict[str, int],
    clients: int,
    seconds: float,
    rounds: int,
    pause_s: float,
) -> None:
    print(
        "requests a second and their share of the empty view's just before; median and 99th "
        "percentile in ms, and the latter over the empty view's\n"
    )
    print(f"{'':32}{'bytes':>8}{'req/s':>9}{'of empty':>10}{'50 %':>8}{'99 %':>8}{'times':>7}")
    asked = _asked(port, questions, clients, seconds, rounds, pause_s)
    for name, found in zip(questions, asked, strict=True):
        print(
            f"{name:32}{bytes_of[name]:>8}{found.rate:>9.1f}{found.of_empty:>10.2f}"
            f"{found.half_ms:>8.1f}{found.nearly_all_ms:>8.1f}{found.slower:>7.2f}",
            flush=True,
        )


def _questions(port: int) -> tuple[dict[str, tuple[str, str]], dict[str, int]]:
    """Addresses with the ETag to send, and the bytes of each answer; all answers warm."""
    pool = _largest_pool()
    addresses = {
        "empty view": "/empty",
        "pool list": "/api/v1/pools",
        "one pool": f"/api/v1/pools/{pool}",
        "its sets": f"/api/v1/pools/{pool}/sets",
        "its versions": f"/api/v1/pools/{pool}/versions",
        "page of the list": "/",
        "page of the pool": f"/pools/{pool}/",
    }
    questions: dict[str, tuple[str, str]] = {}
    bytes_of: dict[str, int] = {}
    for name, path in addresses.items():
        warm = requests.get(f"http://127.0.0.1:{port}{path}", timeout=TIMEOUT_S)
        warm.raise_for_status()
        questions[name], bytes_of[name] = (path, ""), len(warm.content)
        if "ETag" in warm.headers:
            again = f"{name}, not modified"
            questions[again], bytes_of[again] = (path, warm.headers["ETag"]), 0
    return questions, bytes_of


def _asked(
    port: int,
    questions: dict[str, tuple[str, str]],
    clients: int,
    seconds: float,
    rounds: int,
    pause_s: float,
) -> list[Beside]:
    command = [sys.executable, "-m", "deploy.benchmarks.serve_load", str(port), str(clients)]
    command += [str(seconds), str(rounds), str(pause_s)]
    answer = "\n".join(json.dumps(question) for question in questions.values())
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, input=answer)
    return [Beside(**found) for found in json.loads(done.stdout)]


def _largest_pool() -> int:
    from results.models import Pool  # noqa: PLC0415, models are ready now

    largest: Pool = Pool.objects.filter(current__isnull=False).order_by("-current__sets")[0]
    return largest.pk
