"""Joins as strong as their line: both estimands by one model, and a set's own strength."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from deploy.benchmarks.truth.columns import loads_of, members_of, outcome_of
from deploy.benchmarks.truth.hostile import World, draw, tester_effects, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.pools.two_estimands import own_strengths_of
from results.statistics.one_stage.one_stage import Loads, one_stage

LEVELS = 4_000


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


def own_of_sets(world: World, rng: Rng) -> Measured:
    """The join itself set by set, as pages and API say it: by how much joins scatter in the pool.

    Of the sets that outlasted something. A set's page gives a figure where the join failed at
    least once, and a lower bound where it never did.
    """
    drawn = draw(rng, world)
    members = members_of(drawn)
    kept = members.pull_set - 1
    *_, join = loads_of(drawn)
    place = np.searchsorted(kept, join.group).clip(max=kept.size - 1)
    counted = kept[place] == join.group
    join = Loads(np.asarray(join.load_N)[counted], np.asarray(join.exact)[counted], place[counted])
    pool = one_stage(drawn.tester, drawn.session, drawn.session, *loads_of(drawn)).join
    sets, found = own_strengths_of(members, join, pool)
    yield "figures by set", float(found is not None)
    if found is None:
        return
    true = drawn.true[sets.pull_set - 1]
    rows = (found.log_efficiency, found.low, found.high, found.failures, true)
    for middle, low, high, failures, own in zip(*(row.tolist() for row in rows), strict=True):
        yield "set, interval", float(low <= own <= high)
        yield "bias of sets, percent", 100 * (middle - own)
        if failures:
            yield "set with a figure, interval", float(low <= own <= high)
            yield "bias of sets with a figure, percent", 100 * (middle - own)
        else:
            yield "set that never failed, lower bound", float(low <= own)


AIMS = {
    "join itself": "94 to 96",
    "combination": "94 to 96",
    "bias of the join itself, percent": "-0.3 to 0.3",
    "lower bound of the join": "95 or more",
    "an estimate or a bound": "100",
}
OF_SETS = {
    "set, interval": "94 or more",
    "bias of sets, percent": "-0.3 to 0.3",
    "set that never failed, lower bound": "95 or more",
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
        Row("own strength of a set", f"{n} testers, {law} joins",
            partial(own_of_sets, _world(n, law, 1.0)), OF_SETS)
        for law in ("lognormal", "weibull")
        for n in (5, 10)
    ),
)  # fmt: skip
