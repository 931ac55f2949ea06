"""The scenario's own worlds: what each interval covers, biases and false alarms."""

from __future__ import annotations

from functools import partial

from deploy.benchmarks.truth.judging import judge
from deploy.benchmarks.truth.row import Measured, Rng, Row
from deploy.benchmarks.truth.single_joins import JoinWorld, join_worlds, judge_join
from deploy.benchmarks.truth.worlds import World, draw, worlds

AIMS = {"mean, CR2": "94 to 96", "prediction": "93 to 97", "own against pool": "94 to 96"}


def pool(world: World, rng: Rng) -> Measured:
    """Measures of one pool."""
    yield from judge(world, draw(world, rng), rng)


def join(world: JoinWorld, rng: Rng) -> Measured:
    """Measures of one set."""
    yield from judge_join(world, rng)


ROWS = (
    *(
        Row("scenario", f"{world.name}, {world.testers} testers", partial(pool, world), AIMS)
        for world in worlds()
    ),
    *(
        Row("scenario", f"{world.name}, {world.pulls} pulls", partial(join, world), {})
        for world in join_worlds()
    ),
)
