"""The whole path: readings sent as sessions, their jobs run, and what the pools then say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from functools import partial
from itertools import groupby

import numpy as np
from django.db import transaction

from deploy.benchmarks.truth.hostile import LINE_N, Drawn, World, draw
from deploy.benchmarks.truth.row import Measured, Rng, Row
from deploy.benchmarks.truth.rows.joins import CENTRE
from deploy.benchmarks.truth.rows.pool import AIMS, NEWCOMERS, held_by_nine, newcomers
from deploy.demo import inside
from deploy.demo.scenario import LINES, SCENARIO, TARGETS, Document
from deploy.demo.simulate import CHECK_WEIGHTS_KG, HEIGHT_M, LATITUDE, WINTER_BEGINS
from results.models import Connection, DirectComparison, Pool
from results.pools.figures import figures_of
from results.pools.join_contrasts import compare_joins
from results.pools.ranking import chances
from results.pools.recompute import refresh_pool
from results.pools.tester_vs_pool import compare_with_pool
from rigs.metrology.check_weight import check_weight_force
from rigs.metrology.gravity import local_gravity
from rigs.models import Contributor
from rigs.refusals import Invalid, Refused

PAIR = TARGETS["shock-leader"]
JOINS = [join for join in SCENARIO["joins"] if PAIR.id in join["efficiency"]][:3]
SHARE = LINES[PAIR.reference]["true_strength_N"] / LINE_N
"""Of the loads drawn, those of this line."""
STEP_N = 0.5


def whole(testers: int, law: str, spread: float, rng: Rng) -> Measured:
    """Three joins of a line pair; all is undone afterwards."""
    true = CENTRE * np.exp(spread * rng.normal(size=len(JOINS)))
    world = World(testers, tuple(true), law=law, shared=0.5, zero_error_N=0.3 / SHARE)
    drawn = draw(rng, world)
    with transaction.atomic():
        if not Connection.objects.exists():
            inside.lay_catalogue()
        first = _send(drawn, rng)
        pools = list(Pool.objects.order_by("pk"))
        for pool in pools:
            refresh_pool(pool.pk)
        by_join = _by_join()
        yield from _of_chances(by_join, true)
        for place, pool in by_join.items():
            alone = World(testers, (true[place],), law=law)
            yield from _of_pool(pool, alone, drawn, rng)
            yield from _of_first(first, pool, drawn, place)
        transaction.set_rollback(True)


def _by_join() -> dict[int, Pool]:
    names = [join["name"] for join in JOINS]
    pools = Pool.objects.select_related("current", "connection").order_by("pk")
    return {names.index(pool.connection.name): pool for pool in pools}


def _of_pool(pool: Pool, world: World, drawn: Drawn, rng: Rng) -> Measured:
    version, true = pool.current, world.efficiencies[0]
    counted = version.sets if version else 0
    yield "sets that don't count, percent", 100 * (1 - counted / np.unique(drawn.session).size)
    found = figures_of(version)
    if version is None or not found.has("ci_low", "prediction_low"):
        yield "a figure", 0.0
        return
    yield "a figure", 1.0
    yield "mean", float(found["ci_low"] <= np.log(true) <= found["ci_high"])
    new = np.log(true) + newcomers(rng, world, NEWCOMERS)
    inside_ = (found["prediction_low"] <= new) & (new <= found["prediction_high"])
    yield "prediction", float(inside_.mean())
    low, high = found["tau2_tester_interval"]
    yield "tau2 of testers", float(low <= world.tester_sd**2 <= (np.inf if high is None else high))
    if version.held_by_nine is not None:
        yield "nine-in-ten bound", float(np.log(version.held_by_nine) <= held_by_nine(world))
    own = (version.findings["one_stage"] or {}).get("join")
    if own is not None:
        yield "join itself", float(own["interval_low"] <= true <= own["interval_high"])


def _of_chances(by_join: dict[int, Pool], true: np.ndarray) -> Measured:
    compare_joins(next(iter(by_join.values())).pk)
    said = chances(list(by_join.values()), DirectComparison.objects.first(), {})
    if len(by_join) < len(JOINS) or len(said) < len(JOINS):
        return
    place = max(by_join, key=lambda each: said[by_join[each].pk].best)
    best = said[by_join[place].pk].best
    yield "chance of being best, said", best
    yield "said less true", best - float(place == int(np.argmax(true)))


def _of_first(first: Contributor, pool: Pool, drawn: Drawn, place: int) -> Measured:
    try:
        own = compare_with_pool(first, pool).shrunken
    except Refused:
        return
    if own is not None:
        true = float(np.exp(drawn.effect[0, place]))
        yield "own value", float(own.low <= true <= own.high)


def _send(drawn: Drawn, rng: Rng) -> Contributor:
    """Everybody's sessions, tester by tester; gives the first of them."""
    joined = dict(_pulls_of(drawn.joined.reading_N, drawn.joined.parted, drawn.joined.group))
    straight = dict(
        _pulls_of(drawn.straight.reading_N, drawn.straight.parted, drawn.straight.group)
    )
    contributors = []
    rows = zip(drawn.tester.tolist(), drawn.session.tolist(), strict=True)
    for tester, of_tester in groupby(enumerate(rows), key=lambda row: row[1][0]):
        handle = f"tester {tester} {rng.integers(10**9)}"
        contributor = inside.settle(_rig(handle, float(drawn.zero_N[tester])))
        contributors.append(contributor)
        by_session = groupby(of_tester, key=lambda row: row[1][1])
        for number, (session, of_session) in enumerate(by_session):
            sets = [(int(drawn.join[row]), joined[row]) for row, _ in of_session]
            # Too few pulls parted in the free length: this one has nothing to send.
            with suppress(Invalid):
                inside.send(contributor, _session(handle, number, straight[session], sets))
    return contributors[0]


def _pulls_of(
    readings_N: list[float], parted: list[str], group: list[int]
) -> Iterator[tuple[int, list[Document]]]:
    for one, rows in groupby(zip(group, readings_N, parted, strict=True), key=lambda row: row[0]):
        yield (
            one,
            [
                {"reading": _step(reading_N * SHARE), "failure_mode": mode, "place": ""}
                for _, reading_N, mode in rows
            ],
        )


def _step(reading_N: float) -> float:
    return round(max(float(np.rint(reading_N / STEP_N)), 1.0) * STEP_N, 3)


def _session(
    handle: str, number: int, straight: list[Document], sets: list[tuple[int, list[Document]]]
) -> Document:
    return {
        "rig": f"{handle} bench",
        "revision": 1,
        "pulled_on": (WINTER_BEGINS + timedelta(days=20 * number)).isoformat(),
        "state": "dry",
        "loading": "static",
        "unit": "N",
        "baselines": [
            {
                "line": PAIR.reference,
                "spool": "A",
                "position": "before",
                "pulls": [{k: v for k, v in pull.items() if k != "place"} for pull in straight],
            }
        ],
        "pull_sets": [_set(n, JOINS[join], pulls) for n, (join, pulls) in enumerate(sets, start=1)],
    }


def _set(number: int, join: Document, pulls: list[Document]) -> Document:
    return {
        "label": f"set {number}",
        "connection": join["name"],
        "doubled": False,
        "main": {"line": PAIR.main, "spool": "A"},
        "leader": {"line": PAIR.leader, "spool": "A"},
        "terminal": "",
        "parameters": {k: v for k, v in join["parameters"].items() if k != "doubled"},
        "tyer": "",
        "discarded_ties": 0,
        "pulls": pulls,
    }


def _rig(handle: str, zero_N: float) -> Document:
    """A rig in newtons, calibrated as its scale reads."""
    gravity = local_gravity(LATITUDE, HEIGHT_M)
    rows = [
        {
            "mass_kg": mass,
            "reading": _step(check_weight_force(mass, gravity=gravity).newtons + zero_N * SHARE),
        }
        for mass in CHECK_WEIGHTS_KG
    ]
    return {
        "handle": handle,
        "rig": {
            "name": f"{handle} bench",
            "load_generation": "hand winch",
            "reading": "digital hanging scale, peak hold",
            "grip": "padded bollard both ends",
            "unit": "N",
            "resolution": STEP_N,
            "capacity": 500.0,
            "free_length_m": 0.5,
            "latitude": LATITUDE,
            "height_m": HEIGHT_M,
        },
        "calibration": {
            "calibrated_on": (WINTER_BEGINS - timedelta(days=5)).isoformat(),
            "unit": "N",
            "tolerance_percent": 0.2,
            "how_known": "bought as",
            "rows": rows,
        },
    }


WHOLE_AIMS = {
    **AIMS,
    "said less true": "-3 to 3",
    "own value": "93 to 97",
    "join itself": "94 to 96",
}
ROWS = tuple(
    Row(
        "whole path",
        f"{testers} testers, {law} joins, {spread:.0%} apart",
        partial(whole, testers, law, spread),
        WHOLE_AIMS,
        whole=True,
    )
    for testers, law, spread in (
        (4, "lognormal", 0.08),
        (5, "weibull", 0.03),
        (10, "lognormal", 0.08),
        (10, "weibull", 0.08),
    )
)
