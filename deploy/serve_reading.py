"""How fast a server is read, each address beside an empty view: a part of `deploy/bench serve`."""

from __future__ import annotations

import json
import subprocess
import sys

import requests

from deploy.serve_load import Beside

CLIENTS = (1, 10, 50)
ROUNDS = 5
PATIENCE_S = 120.0


def tell_reading(port: int, seconds: float) -> None:
    """Print a table for each number of clients; every figure is the median of the rounds."""
    questions, bytes_of = _questions(port)
    for clients in CLIENTS:
        print(
            f"\nReading with {clients} clients, {ROUNDS} rounds of {seconds / ROUNDS:g} s: "
            "requests a second and their share of the empty view's just before; median and 99th "
            "percentile in ms, and the latter over the empty view's\n"
        )
        print(f"{'':32}{'bytes':>8}{'req/s':>9}{'of empty':>10}{'50 %':>8}{'99 %':>8}{'times':>7}")
        for name, found in zip(questions, _asked(port, questions, clients, seconds), strict=True):
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
        warm = requests.get(f"http://127.0.0.1:{port}{path}", timeout=PATIENCE_S)
        warm.raise_for_status()
        questions[name], bytes_of[name] = (path, ""), len(warm.content)
        if "ETag" in warm.headers:
            again = f"{name}, not modified"
            questions[again], bytes_of[again] = (path, warm.headers["ETag"]), 0
    return questions, bytes_of


def _asked(
    port: int, questions: dict[str, tuple[str, str]], clients: int, seconds: float
) -> list[Beside]:
    command = [sys.executable, "-m", "deploy.serve_load", str(port), str(clients)]
    command += [str(seconds / ROUNDS), str(ROUNDS)]
    told = "\n".join(json.dumps(question) for question in questions.values())
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, input=told)
    return [Beside(**found) for found in json.loads(done.stdout)]


def _largest_pool() -> int:
    from results.models import Pool  # noqa: PLC0415, models are ready now

    return Pool.objects.filter(current__isnull=False).order_by("-current__sets")[0].pk
