"""A pool's own figures: mean, prediction, scatter between testers, and what nine in ten hold."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from deploy.benchmarks.truth.columns import outcome_of
from deploy.benchmarks.truth.hostile import World, draw, tester_effects, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row

NEWCOMERS = 400
MANY = 400_000


def figures(world: World, rng: Rng) -> Measured:
    """Coverage and width of the intervals of one pool."""
    outcome = outcome_of(draw(rng, world))
    pooled = outcome.pooled
    if pooled is None:
        return
    true = float(np.log(world.efficiencies[0]))
    new = true + newcomers(rng, world, NEWCOMERS)
    inside = (pooled.prediction_low <= new) & (new <= pooled.prediction_high)
    low, high = pooled.tau2_tester_interval
    yield "mean", float(pooled.ci_low <= true <= pooled.ci_high)
    yield "bias of the mean, percent", 100 * (pooled.mu - true)
    yield "width of the mean, percent", 100 * (pooled.ci_high - pooled.ci_low)
    yield "prediction", float(inside.mean())
    yield "width of the prediction, percent", 100 * (pooled.prediction_high - pooled.prediction_low)
    yield "tau2 of testers", float(low <= world.tester_sd**2 <= high)
    yield "width of tau of testers, percent", 100 * (np.sqrt(high) - np.sqrt(low))
    if outcome.held_by_nine is not None:
        tenth = held_by_nine(world)
        yield "nine-in-ten bound", float(np.log(outcome.held_by_nine) <= tenth)
        yield "bound below the truth, percent", 100 * (tenth - np.log(outcome.held_by_nine))


def newcomers(rng: Rng, world: World, n: int) -> np.ndarray:
    """True log efficiencies of new testers' next sets, from the pool's."""
    within = np.hypot(world.session_sd, world.set_sd)
    return np.asarray(tester_effects(rng, world, n) + within * rng.normal(size=n))


@cache
def held_by_nine(world: World) -> float:
    """ln of the share of straight line that nine in ten of new testers' next ties hold."""
    rng = np.random.default_rng(1)
    level = np.log(world.efficiencies[0]) + newcomers(rng, world, MANY)
    return float(np.quantile(level + np.log(unit_loads(rng, world.law, world.cv_join, MANY)), 0.1))


AIMS = {
    "mean": "94 to 96",
    "prediction": "93 to 97",
    "tau2 of testers": "93 or more",
    "nine-in-ten bound": "95",
}
CASES = {
    **{f"{n} testers": World(n) for n in (3, 5, 10, 30)},
    **{f"{n} testers, normal": World(n, tails=None) for n in (5, 10, 30)},
    **{f"{n} testers, Weibull joins": World(n, law="weibull") for n in (3, 10, 30)},
    "10 testers, normal, Weibull joins": World(10, tails=None, law="weibull"),
    "10 testers, skewed joins": World(10, law="skewed"),
    "10 testers in 3 clubs that share a spool": World(10, clubs=3),
    "10 testers, a fifth tied by another": World(10, friends=0.2),
}
ROWS = tuple(Row("pool", case, partial(figures, world), AIMS) for case, world in CASES.items())
