"""A tester's own value beside the pool of the others, and the tests that planning rests on."""

from __future__ import annotations

from functools import partial

import numpy as np

from deploy.benchmarks.truth.columns import members_of
from deploy.benchmarks.truth.hostile import World, draw
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.pools.tester_vs_pool import compare_in_members
from rigs.models import Contributor
from rigs.refusals import Refused

FIRST = Contributor(pk=1)


def own_value(others: int, tails: float | None, tester_sd: float, rng: Rng) -> Measured:
    """Coverage of the shrunken own value and of the own ratio."""
    world = World(others + 1, tails=tails, tester_sd=tester_sd)
    drawn = draw(rng, world)
    try:
        found = compare_in_members(members_of(drawn), FIRST)
    except Refused:
        return
    true = float(np.exp(drawn.effect[0, 0]))
    ratio = true / world.efficiencies[0]
    if found.shrunken is not None:
        own = found.shrunken
        yield "own value", float(own.low <= true <= own.high)
        yield "width of the own value, percent", 100 * np.log(own.high / own.low)
    if found.comparison is not None:
        beside = found.comparison
        yield "own over the pool", float(beside.ratio_low <= ratio <= beside.ratio_high)


def no_difference(others: int, tails: float | None, rng: Rng) -> Measured:
    """How often a tester exactly at the pool's mean is found to differ from it."""
    drawn = draw(rng, World(others + 1, tails=tails), first=0.0)
    try:
        found = compare_in_members(members_of(drawn), FIRST).comparison
    except Refused:
        return
    if found is not None:
        yield "found to differ", float(found.differs)


ROWS = (
    *(
        Row(
            "own value",
            f"{others} others, {'t4' if tails else 'normal'} testers, sd {sd:.1%}",
            partial(own_value, others, tails, sd),
            {"own value": "93 to 97", "own over the pool": "93 to 97"},
        )
        for others, tails, sd in (
            (3, 4.0, 0.04),
            (4, 4.0, 0.04),
            (4, None, 0.04),
            (3, 4.0, 0.015),
            (5, 4.0, 0.04),
            (9, 4.0, 0.04),
        )
    ),
    *(
        Row(
            "planning, no difference",
            f"{others} others, {'t4' if tails else 'normal'} testers",
            partial(no_difference, others, tails),
            {"found to differ": "5"},
        )
        for others, tails in ((3, 4.0), (5, 4.0), (5, None), (9, 4.0))
    ),
)
