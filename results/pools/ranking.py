"""Rank the joins of one line pair: joins that don't differ significantly share a group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.models import DirectComparison, Pool
from results.pools.figures import figures_of
from results.statistics.joint_means import steadied
from results.statistics.ranking import groups, rank

Floats = NDArray[np.float64]
Group = tuple[Pool, ...]
RANKED_BY = ("mu", "se_robust", "df_satterthwaite")


@dataclass(frozen=True)
class Place:
    """A join's rank on its line pair, from ``first`` to ``last``: the ranks that it may have.

    ``groups`` are the positions of the groups it belongs to.
    """

    pool: Pool
    first: int
    last: int
    groups: tuple[int, ...]


def can_be_ranked(pool: Pool) -> bool:
    """Whether it has a pooled figure, and of a version that knows all that ranking takes."""
    return figures_of(pool.current).has(*RANKED_BY)


def ranked(pools: Sequence[Pool]) -> list[Group]:
    """Groups of pools no two of which differ significantly, the strongest first.

    Pools that can't be ranked are left out; a pool may be in several groups. Two are
    compared by their difference on the log scale, with CR2 standard errors and the degrees of
    freedom of Welch (1947, Biometrika 34:28-35) from Satterthwaite's of each. Testers who tied
    both would make the difference surer; that is left out, which is conservative.
    """
    pooled = [pool for pool in pools if can_be_ranked(pool)]
    if len(pooled) < 2:
        return [(pool,) for pool in pooled]
    mu, se, df = (_column(pooled, name) for name in RANKED_BY)
    found = groups(mu, np.diag(se**2), _welch(se**2, df))
    return [tuple(pooled[place] for place in group) for group in found]


def places(found: Sequence[Group]) -> list[Place]:
    """The place of each pool of these groups, the strongest first."""
    of_pool: dict[Pool, list[int]] = {}
    for position, group in enumerate(found):
        for pool in group:
            of_pool.setdefault(pool, []).append(position)
    ordered = sorted(of_pool, key=_mu, reverse=True)
    apart = [[set(of_pool[a]).isdisjoint(of_pool[b]) for b in ordered] for a in ordered]
    return [
        Place(
            pool,
            first=1 + sum(apart[at][:at]),
            last=len(ordered) - sum(apart[at][at + 1 :]),
            groups=tuple(of_pool[pool]),
        )
        for at, pool in enumerate(ordered)
    ]


def _mu(pool: Pool) -> float:
    return float(figures_of(pool.current)["mu"])


def _column(pools: Sequence[Pool], name: str) -> Floats:
    return np.array([figures_of(pool.current)[name] for pool in pools])


def _welch(variance: Floats, df: Floats) -> Floats:
    """Degrees of freedom of each difference, (J, J)."""
    of_df = variance**2 / df
    sums = variance[:, None] + variance[None, :]
    return np.asarray(sums**2 / (of_df[:, None] + of_df[None, :]))


@dataclass(frozen=True)
class Chance:
    """How sure a join's place is: mean certainty of being better than another of the pair
    (P-score; Ruecker & Schwarzer 2015), and the probability that none is better."""

    better: float
    best: float


def chances(pools: Sequence[Pool], comparison: DirectComparison | None) -> dict[int, Chance]:
    """The chance of each pooled join among its line pair, by the pool's id; a lone join is best.

    ``comparison`` knows how the pooled figures vary together where testers tied several joins;
    what it does not know of counts as independent.
    """
    pooled = [pool for pool in pools if can_be_ranked(pool)]
    if len(pooled) < 2:
        return {pool.pk: Chance(1.0, 1.0) for pool in pooled}
    mu, se, df = (_column(pooled, name) for name in RANKED_BY)
    error, freedom = steadied(se, df, _column(pooled, "testers"))
    together = _correlation([pool.pk for pool in pooled], comparison)
    found = rank(mu, together * np.outer(error, error), freedom)
    return {
        pool.pk: Chance(float(better), float(best))
        for pool, better, best in zip(pooled, found.p_score, found.best, strict=True)
    }


def _correlation(pools: Sequence[int], comparison: DirectComparison | None) -> Floats:
    """Of the figures of these pools, (J, J), as far as the comparison knows them."""
    known = comparison.figures.get("correlation") if comparison else None
    found = np.eye(len(pools))
    if known:
        both = [pool for pool in pools if pool in known["pools"]]
        here = [pools.index(pool) for pool in both]
        there = [known["pools"].index(pool) for pool in both]
        found[np.ix_(here, here)] = np.array(known["of_means"])[np.ix_(there, there)]
    return found
