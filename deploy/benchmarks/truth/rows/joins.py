"""Joins of a line pair: the chance of being the best, and equal joins found to differ."""

from __future__ import annotations

from functools import partial

import numpy as np

from deploy.benchmarks.truth.columns import members_of, outcome_of
from deploy.benchmarks.truth.hostile import World, draw
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.pools.pool_data import log_ratios
from results.statistics.contrasts import within_baseline_contrasts
from results.statistics.joint_means import correlation_of_means, scores_by_tester, steadied
from results.statistics.network import network
from results.statistics.pool_fit import PoolFit
from results.statistics.pooling import Pooled
from results.statistics.ranking import Ranking, rank

JOINS = 5
CENTRE = 0.82


def best(testers: int, spread: float, shared: float, rng: Rng) -> Measured:
    """The chance said for the join that is said to be best, beside how often it is."""
    true = CENTRE * np.exp(spread * rng.normal(size=JOINS))
    drawn = draw(rng, World(testers, tuple(true), shared=shared))
    outcomes = [outcome_of(drawn, join) for join in range(JOINS)]
    pools = [one.pooled for one in outcomes if one.pooled is not None]
    fits = [one.fit for one in outcomes if one.fit is not None]
    if len(pools) < JOINS or not all(np.isfinite(pool.se_robust) for pool in pools):
        return
    chances = ranked(pools, fits).best
    first = int(np.argmax(chances))
    is_best = float(first == int(np.argmax(true)))
    yield "said", float(chances[first])
    yield "true", is_best
    yield "said less true", float(chances[first]) - is_best


def ranked(pools: list[Pooled], fits: list[PoolFit]) -> Ranking:
    """As the service ranks the joins of a line pair (`results.pools.ranking.chances`)."""
    errors, freedom = steadied(
        np.array([pool.se_robust for pool in pools]),
        np.array([pool.df_satterthwaite for pool in pools]),
        np.array([float(pool.testers) for pool in pools]),
    )
    together = correlation_of_means([scores_by_tester(fit) for fit in fits])
    return rank([pool.mu for pool in pools], together * np.outer(errors, errors), freedom)


def equal(testers: int, shared: float, rng: Rng) -> Measured:
    """Whether any two of five equal joins are found to differ by direct comparison."""
    drawn = draw(rng, World(testers, (CENTRE,) * JOINS, shared=shared, sessions=(1, 2)))
    found = []
    for join in range(JOINS):
        members = members_of(drawn, join)
        ratios = log_ratios(members)
        name = np.full(len(members), str(join))
        found.append((ratios.y, ratios.own_variance, name, members.tester, members.baseline))
    y, own, name, tester, baseline = (np.concatenate(column) for column in zip(*found, strict=True))
    contrasts = within_baseline_contrasts(y, own, name, tester, baseline)
    differences = network(contrasts, "0").differences
    yield "some differ", float(any(each.p_holm <= 0.05 for each in differences))
    yield "some differ, not adjusted", float(any(each.p <= 0.05 for each in differences))


BEST = {"said less true": "-3 to 3"}
EQUAL = {"some differ": "at most 5"}
ROWS = (
    *(
        Row(
            "chance of being best",
            f"{testers} testers, joins {spread:.0%} apart, {shared:.0%} of the effect shared",
            partial(best, testers, spread, shared),
            BEST,
        )
        for testers in (3, 5, 10)
        for spread, shared in ((0.08, 0.5), (0.03, 0.5), (0.08, 1.0))
    ),
    *(
        Row(
            "equal joins",
            f"{testers} testers, {shared:.0%} shared",
            partial(equal, testers, shared),
            EQUAL,
        )
        for testers in (3, 5, 10)
        for shared in (0.8, 0.0)
    ),
)
