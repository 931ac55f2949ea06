"""The bytes that each session of the large store came in."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from deploy.benchmarks.large_store.catalogue import JOINS_A_SESSION, LINE_IDS, Target
from deploy.benchmarks.large_store.copying import copy_in, renumber
from deploy.benchmarks.large_store.drawing import Pulls, World
from results.models import Session, Upload

SESSIONS_AT_ONCE = 5000
SPOOL = "A"
FIRST_DAY = date(2023, 10, 1)
Sent = list[dict[str, Any]]


def write_uploads(world: World) -> None:
    """An upload for each session, as JSON, some thousands at a time."""
    for first in range(0, world.session_tester.size, SESSIONS_AT_ONCE):
        sessions = range(first, min(first + SESSIONS_AT_ONCE, world.session_tester.size))
        bodies = [json.dumps(document).encode() for document in _documents(world, sessions)]
        numbers = [session + 1 for session in sessions]
        copy_in(
            Upload,
            len(numbers),
            {
                "id": numbers,
                "contributor_id": world.session_tester[sessions.start : sessions.stop] + 1,
                "session_id": numbers,
                "idempotency_key": None,
                "content_type": "application/json",
                "body": bodies,
                "sha256": [hashlib.sha256(body).hexdigest() for body in bodies],
            },
        )
    renumber(Upload)


def _documents(world: World, sessions: range) -> Iterator[dict[str, Any]]:
    sets = range(sessions.start * JOINS_A_SESSION, sessions.stop * JOINS_A_SESSION)
    straight, joined = _sent(world.straight, sessions), _sent(world.joined, sets)
    units = world.testers.units
    wet = world.testers.of("wet") > 0
    for at, session in enumerate(sessions):
        tester = world.session_tester[session]
        target = world.targets[world.session_target[session]]
        first = session * JOINS_A_SESSION
        yield {
            "rig": "bench",
            "revision": 1,
            "pulled_on": f"{FIRST_DAY + timedelta(days=int(world.session_day[session]))}",
            "state": (Session.State.SOAKED if wet[tester] else Session.State.DRY).value,
            "unit": str(units[tester]),
            "baselines": [_line(target.reference) | {"pulls": straight[at]}],
            "pull_sets": [
                {"label": f"set {number + 1}", "pulls": joined[first + number - sets.start]}
                | _tie(world, target, first + number)
                for number in range(JOINS_A_SESSION)
            ],
        }


def _tie(world: World, target: Target, tied: int) -> dict[str, Any]:
    end = {"leader": _line(target.leader)} if target.leader else {"terminal": target.terminal}
    return {
        "connection": world.joins[world.set_join[tied]].name,
        "parameters": {"turns": int(world.set_turns[tied])},
        "main": _line(target.main),
        **end,
    }


def _line(line: int) -> dict[str, Any]:
    return {"line": LINE_IDS[line - 1], "spool": SPOOL}


def _sent(pulls: Pulls, owners: range) -> Sequence[Sent]:
    """The pulls of each of these owners; every owner has some, and they stand in order."""
    edges = np.searchsorted(pulls.owner, np.arange(owners.start, owners.stop + 1)).tolist()
    columns = (pulls.shown, pulls.mode, pulls.place)
    rows = [
        {"reading": shown, "failure_mode": mode, "place": place}
        for shown, mode, place in zip(
            *(column[edges[0] : edges[-1]].tolist() for column in columns), strict=True
        )
    ]
    return [rows[first - edges[0] : end - edges[0]] for first, end in pairwise(edges)]
