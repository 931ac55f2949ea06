"""Joins as strong as their line: both estimands by one model, and a set's own strength."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from deploy.benchmarks.truth.columns import loads_of, outcome_of
from deploy.benchmarks.truth.hostile import LINE_N, World, draw, tester_effects, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.statistics.join_strength import join_strength
from results.statistics.one_stage.one_stage import one_stage

MANY, LEVELS = 400_000, 4_000


def both(world: World, rng: Rng) -> Measured:
    """Bias and coverage of the combination and of the join itself."""
    drawn = draw(rng, world)
    found = one_stage(drawn.tester, drawn.session, drawn.session, *loads_of(drawn))
    own = float(np.log(world.efficiencies[0]))
    yield "an estimate of the join", float(found.join is not None)
    yield "an estimate or a bound", float(found.join is not None or found.join_outlasts is not None)
    if found.join_outlasts is not None:
        yield "lower bound of the join", float(found.join_outlasts <= own)
    for name, one, true in (
        ("join itself", found.join, own),
        ("combination", found.combination, combination(world)),
    ):
        if one is not None:
            yield name, float(one.low <= true <= one.high)
            yield f"bias of the {name}, percent", 100 * (one.log_efficiency - true)
            yield f"width of the {name}, percent", 100 * (one.high - one.low)
    two = outcome_of(drawn).pooled
    if two is not None:
        true = combination(world)
        yield "combination by two stages", float(two.ci_low <= true <= two.ci_high)
        yield "width of it by two stages, percent", 100 * (two.ci_high - two.ci_low)


@cache
def combination(world: World) -> float:
    """Mean over testers, sessions and sets of ln of what line and join hold over the line alone."""
    rng = np.random.default_rng(1)
    half, pulls = LEVELS // 2, 200
    off = tester_effects(rng, world, half)
    off = off + np.hypot(world.session_sd, world.set_sd) * rng.normal(size=half)
    level = np.log(world.efficiencies[0]) + np.concatenate((off, -off))
    shape = (LEVELS, pulls)
    own = unit_loads(rng, world.law, world.cv_join, LEVELS * pulls).reshape(shape)
    line = unit_loads(rng, "lognormal", world.cv_line, LEVELS * pulls).reshape(shape)
    mean = np.minimum(np.exp(level)[:, None] * own, line).mean(axis=1)
    return float(np.log(mean).mean())


def own_of_a_set(law: str, rng: Rng) -> Measured:
    """A single set of five pulls, half of which part in the line."""
    own = LINE_N * unit_loads(rng, law, 0.06, 5)
    line = LINE_N * unit_loads(rng, "lognormal", 0.03, 5)
    found = join_strength(np.minimum(own, line), line < own).estimate
    yield "an estimate", float(found is not None)
    if found is not None:
        yield "bias of it, percent", 100 * (found.mean_N / LINE_N - 1)
        median = np.median(unit_loads(np.random.default_rng(1), law, 0.06, MANY)) * LINE_N
        yield "median", float(found.median_low_N <= median <= found.median_high_N)


AIMS = {
    "join itself": "94 to 96",
    "combination": "94 to 96",
    "bias of the join itself, percent": "-0.3 to 0.3",
    "lower bound of the join": "95 or more",
    "an estimate or a bound": "100",
}


def _world(testers: int, law: str, own: float) -> World:
    return World(testers, (own,), law=law, cv_join=0.06, cv_line=0.03, set_sd=0.0, own=True,
                 pulls=(5, 5), sessions=(1, 3))  # fmt: skip


ROWS = (
    *(
        Row("one stage", f"{n} testers, {law} joins", partial(both, _world(n, law, 1.0)), AIMS)
        for law in ("lognormal", "weibull")
        for n in (3, 5, 10, 30)
    ),
    *(
        Row(
            "one stage", f"5 testers, {law} joins that nearly always outlast",
            partial(both, _world(5, law, 1.15)), AIMS,
        )
        for law in ("lognormal", "weibull")
    ),
    *(
        Row("own strength of a set", f"{law} join", partial(own_of_a_set, law),
            {"bias of it, percent": "-0.3 to 0.3", "median": "94 to 96"})
        for law in ("lognormal", "weibull")
    ),
)  # fmt: skip
