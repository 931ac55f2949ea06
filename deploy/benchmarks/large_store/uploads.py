"""A newcomer to the large store, whose sessions are timed until their pools are fresh."""

from __future__ import annotations

import time
from collections import defaultdict
from typing import Any

import numpy as np
from django.contrib.auth import get_user_model

from deploy.benchmarks.large_store.catalogue import (
    JOINS_A_SESSION,
    LINE_IDS,
    Target,
    joins,
    shares,
    targets,
)
from deploy.demo.client import Client
from deploy.demo.scenario import LINES
from rigs.models import Contributor

HANDLE, PASSWORD = "newcomer", "newcomer-of-the-benchmark"
PULLS, STRAIGHT = 8, 12
ASK_AGAIN_S, TIMEOUT_S = 0.05, 120.0
RIG = {
    "name": "bench",
    "revision": {
        "made_on": "2025-10-04",
        "load_generation": "hand winch",
        "indicator": "digital scale",
        "peak_capture": "peak hold",
        "resolution": "0.5 N",
        "capacity": "500 N",
        "first_grip": "bollard",
        "second_grip": "bollard",
    },
}


class Newcomer:
    """A tester who was not there when the store was made, with a rig."""

    def __init__(self, address: str) -> None:
        user = get_user_model().objects.create_user(HANDLE, password=PASSWORD)
        Contributor.objects.create(user=user, handle=HANDLE)
        self._client = Client(address, HANDLE, PASSWORD)
        self._client.post("/rigs", RIG)
        self._rng = np.random.default_rng(1)

    def upload(self, number: int) -> dict[str, float]:
        """Send a session; seconds until its answer and until its pools were fresh."""
        document = _session(self._rng, number)
        begun = time.perf_counter()
        answer = self._client.post("/sessions", document)
        taken = {"the answer": time.perf_counter() - begun}
        _wait(self._client, answer["job"]["url"])
        return taken | {"fresh pools": time.perf_counter() - begun}


def upload_all(address: str, uploads: int) -> dict[str, list[float]]:
    """Seconds of each upload until its answer and until its job was done, its pools being fresh."""
    newcomer = Newcomer(address)
    taken = defaultdict(list)
    for number in range(uploads):
        for what, seconds in newcomer.upload(number).items():
            taken[what].append(seconds)
    return taken


def _wait(tester: Client, job: str) -> None:
    last_moment = time.monotonic() + TIMEOUT_S
    while (answer := tester.get(job))["state"] not in ("done", "failed"):
        if time.monotonic() > last_moment:
            raise TimeoutError(f"{job} is {answer['state']} after {TIMEOUT_S:g} s")
        time.sleep(ASK_AGAIN_S)
    if answer["state"] == "failed":
        raise RuntimeError(f"{job}: {answer}")


def _session(rng: np.random.Generator, number: int) -> dict[str, Any]:
    """Five joins of one line pair, pairs and joins as often as in the store."""
    pairs = [target for target in targets() if target.leader is not None]
    weights = shares(targets())[: len(pairs)]
    target = pairs[int(rng.choice(len(pairs), p=weights / weights.sum()))]
    tied = [join for join in joins() if join.kind == "line to line"]
    often = 1.0 / (np.arange(len(tied)) + 0.5)
    chosen = rng.choice(len(tied), JOINS_A_SESSION, replace=False, p=often / often.sum())
    strength_N = float(LINES[LINE_IDS[target.reference - 1]]["true_strength_N"])
    return {
        "rig": "bench",
        "revision": 1,
        "pulled_on": f"2026-0{number % 9 + 1}-{number % 28 + 1:02d}",
        "state": "dry",
        "unit": "N",
        "baselines": [
            {
                "line": _name(target.reference),
                "pulls": _pulls(rng, STRAIGHT, strength_N, 0.03, "line", ""),
            }
        ],
        "pull_sets": [
            {
                "label": f"set {place}",
                "connection": tied[join].name,
                **_lines(target),
                "parameters": {"turns": tied[join].turns},
                "pulls": _pulls(
                    rng, PULLS, strength_N * tied[join].efficiency, tied[join].cv, "join", ""
                ),
            }
            for place, join in enumerate(chosen.tolist(), start=1)
        ],
    }


def _lines(target: Target) -> dict[str, Any]:
    assert target.leader is not None
    return {
        "main": {"line": _name(target.main), "spool": ""},
        "leader": {"line": _name(target.leader), "spool": ""},
    }


def _name(line: int) -> str:
    return LINE_IDS[line - 1]


def _pulls(
    rng: np.random.Generator, number: int, mean_N: float, cv: float, mode: str, place: str
) -> list[dict[str, Any]]:
    readings = np.round(rng.normal(mean_N, cv * mean_N, number) * 2) / 2
    return [
        {"reading": reading, "failure_mode": mode, "place": place} for reading in readings.tolist()
    ]
