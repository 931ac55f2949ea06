"""The large store's world into the service's tables."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

import numpy as np
from django.contrib.auth import get_user_model
from django.utils import timezone
from numpy.typing import NDArray

from deploy.benchmarks.large_store.catalogue import LINE_IDS
from deploy.benchmarks.large_store.copying import copy_in, renumber
from deploy.benchmarks.large_store.drawing import U_GAIN, U_OFFSET_N, Pulls, World
from deploy.benchmarks.large_store.sending import FIRST_DAY, SPOOL, write_uploads
from deploy.demo.scenario import LINES, SCENARIO
from results.models import (
    Baseline,
    Connection,
    Job,
    NormalisedSet,
    Pool,
    Pull,
    PullSet,
    Session,
    StateChange,
    TieParameter,
)
from rigs.metrology.units import parse_force
from rigs.models import Calibration, Club, Contributor, Line, Rig, RigRevision

Ids = NDArray[np.int64]
TESTERS_A_CLUB = 10


def write(world: World, normalised: dict[str, list[Any]]) -> None:
    """All rows but versions of pools, which pooling makes."""
    _people(world)
    _catalogue(world)
    _sessions(world)
    _pulls(world)
    write_uploads(world)
    _normalised(world, normalised)


def _people(world: World) -> None:
    like = world.testers.like
    number = np.arange(like.size)
    league = SCENARIO["testers"]
    handles = [f"{league[of]['handle']}-{n + 1}" for n, of in enumerate(like)]
    clubs = int(np.ceil(like.size / TESTERS_A_CLUB))
    copy_in(Club, clubs, {"name": [f"Bench club {n + 1}" for n in range(clubs)]})
    users = get_user_model()
    copy_in(users, like.size, {"username": handles, "password": "!", "last_login": None})
    copy_in(
        Contributor,
        like.size,
        {
            "user_id": number + 1,
            "handle": handles,
            "club_id": number // TESTERS_A_CLUB + 1,
            "licence": "CC-BY-4.0",
            "licence_agreed_at": timezone.now(),
        },
    )
    copy_in(Rig, like.size, {"owner_id": number + 1, "name": [f"{name} bench" for name in handles]})
    steps = world.testers.of("resolution_N")
    copy_in(
        RigRevision,
        like.size,
        {
            "rig_id": number + 1,
            "number": 1,
            "made_on": date(2023, 9, 1),
            "load_generation": "hand winch",
            "indicator": "digital scale",
            "peak_capture": "peak hold",
            "resolution_N": steps,
            "resolution_written": [f"{step:g} N" for step in steps.tolist()],
            "first_grip": "bollard",
            "second_grip": "bollard",
            "capacity_N": 500.0,
            "capacity_written": "500 N",
        },
    )
    copy_in(
        Calibration,
        like.size,
        {
            "revision_id": number + 1,
            "made_on": date(2023, 9, 1),
            "local_gravity": 9.815,
            "gain": world.testers.gain,
            "offset_N": world.testers.offset_N,
            "u_gain": U_GAIN,
            "u_offset_N": U_OFFSET_N,
            "correlation": -0.8,
            "residual_sd_N": 0.5,
            "degrees_of_freedom": 16,
            "lowest_N": 24.0,
            "highest_N": 196.0,
        },
    )
    renumber(Club, users, Contributor, Rig, RigRevision, Calibration)


def _catalogue(world: World) -> None:
    lines = [LINES[name] for name in LINE_IDS]
    copy_in(
        Line,
        len(lines),
        {
            "name": list(LINE_IDS),
            "material": [line["material"] for line in lines],
            "label_strength_N": [parse_force(line["label"]).newtons for line in lines],
            "label_strength_written": [line["label"] for line in lines],
            "label_basis": "test",
            "diameter_m": [line["diameter_mm"] / 1000 for line in lines],
            "diameter_written": [f"{line['diameter_mm']} mm" for line in lines],
            "accepted": True,
        },
    )
    copy_in(
        Connection,
        len(world.joins),
        {
            "name": [join.name for join in world.joins],
            "kind": [join.kind for join in world.joins],
            "accepted": True,
        },
    )
    copy_in(
        TieParameter,
        len(world.joins),
        {
            "connection_id": [join.pk for join in world.joins],
            "name": "turns",
            "type": TieParameter.Type.INTEGER,
            "lowest": 1.0,
            "highest": 40.0,
        },
    )
    renumber(Line, Connection, TieParameter)


def _sessions(world: World) -> None:
    sessions = world.session_tester.size
    wet = world.testers.of("wet")[world.session_tester] > 0
    copy_in(
        Session,
        sessions,
        {
            "contributor_id": world.session_tester + 1,
            "revision_id": world.session_tester + 1,
            "pulled_on": [FIRST_DAY + timedelta(days=day) for day in world.session_day.tolist()],
            "state": np.where(wet, Session.State.SOAKED, Session.State.DRY),
            "unit": world.testers.units[world.session_tester],
            "fingerprint": [f"{n:064x}" for n in range(sessions)],
        },
    )
    copy_in(
        Job,
        sessions,
        {
            "id": [uuid.UUID(int=n + 1) for n in range(sessions)],
            "session_id": np.arange(sessions) + 1,
            "state": Job.State.DONE,
            "step": Job.Step.FINISHED,
            "attempts": 1,
            "finished_at": timezone.now(),
        },
    )
    reference = np.array([target.reference for target in world.targets])
    copy_in(
        Baseline,
        sessions,
        {
            "session_id": np.arange(sessions) + 1,
            "line_id": reference[world.session_target],
            "spool": SPOOL,
        },
    )
    _sets(world)
    renumber(Session, Baseline, PullSet, StateChange)


def _sets(world: World) -> None:
    tied = [world.targets[target] for target in world.session_target[world.set_session].tolist()]
    sets = len(tied)
    in_session = np.arange(sets) - np.searchsorted(world.set_session, world.set_session) + 1
    copy_in(
        PullSet,
        sets,
        {
            "session_id": world.set_session + 1,
            "label": [f"set {n}" for n in in_session.tolist()],
            "connection_id": world.set_join + 1,
            "main_line_id": [target.main for target in tied],
            "main_spool": SPOOL,
            "leader_line_id": [target.leader for target in tied],
            "leader_spool": [SPOOL if target.leader else "" for target in tied],
            "terminal": [target.terminal for target in tied],
            "parameters": [{"turns": turns} for turns in world.set_turns.tolist()],
            "state": PullSet.State.NORMALISED,
        },
    )
    copy_in(
        StateChange,
        sets,
        {
            "pull_set_id": np.arange(sets) + 1,
            "from_state": PullSet.State.RECEIVED,
            "to_state": PullSet.State.NORMALISED,
            "reason": "worked out from its pulls and baseline",
        },
    )


def _pulls(world: World) -> None:
    straight, joined = world.straight, world.joined
    _copy_pulls(world, straight, world.session_tester[straight.owner], 0, "baseline_id")
    testers = world.session_tester[world.set_session][joined.owner]
    _copy_pulls(world, joined, testers, straight.owner.size, "pull_set_id")
    renumber(Pull)


def _copy_pulls(world: World, pulls: Pulls, tester: Ids, before: int, parent: str) -> None:
    rows = pulls.owner.size
    copy_in(
        Pull,
        rows,
        {
            "id": range(before + 1, before + rows + 1),
            "baseline_id": None,
            "pull_set_id": None,
            parent: pulls.owner + 1,
            "number": pulls.number,
            "reading_written": [repr(reading) for reading in pulls.shown.tolist()],
            "unit": world.testers.units[tester],
            "reading_N": pulls.reading_N,
            "failure_mode": pulls.mode,
            "place": pulls.place,
        },
    )


def _normalised(world: World, columns: dict[str, list[Any]]) -> None:
    place = np.array(columns["place"])
    session = world.set_session[place]
    tester = world.session_tester[session]
    wet = world.testers.of("wet")[tester] > 0
    keys = [
        _key(world, int(target), int(join), bool(is_wet))
        for target, join, is_wet in zip(
            world.session_target[session], world.set_join[place], wet, strict=True
        )
    ]
    numbers = {key: n + 1 for n, key in enumerate(sorted(set(keys)))}
    now = timezone.now()
    names = ("connection_id", "main_material", "leader_material", "terminal", "wet")
    copy_in(
        Pool, len(numbers), dict(zip(names, map(list, zip(*numbers, strict=True)), strict=True))
    )
    copy_in(
        NormalisedSet,
        place.size,
        {
            **{name: column for name, column in columns.items() if name != "place"},
            "pull_set_id": place + 1,
            "pool_id": [numbers[key] for key in keys],
            "baseline_id": session + 1,
            "calibration_id": tester + 1,
            "computed_at": now,
            "placed_at": now,
        },
    )
    renumber(Pool)


def _key(world: World, target: int, join: int, wet: bool) -> tuple[int, str, str, str, bool]:
    tied = world.targets[target]
    main = LINES[LINE_IDS[tied.main - 1]]["material"]
    leader = LINES[LINE_IDS[tied.leader - 1]]["material"] if tied.leader else ""
    return (world.joins[join].pk, main, leader, tied.terminal, wet)
