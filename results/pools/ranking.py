"""Rank the joins of one line pair: joins that can't be separated share a group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from results.models import DirectComparison, Pool
from results.pools.conclusions import RANKED_BY, Conclusions, can_be_ranked
from results.pools.figures import figures_of
from results.statistics.joint_means import steadied
from results.statistics.ranking import groups, rank

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Place:
    """A join's rank on its line pair, from ``first`` to ``last``: the ranks that it may have.

    As many joins are clearly stronger as come before ``first``, and clearly weaker as come after
    ``last``. ``groups`` are the positions of the groups it belongs to.
    """

    pool: Pool
    first: int
    last: int
    groups: tuple[int, ...]


def places(pools: Sequence[Pool], concluded: Conclusions) -> list[Place]:
    """The place of each pool that has a figure, the strongest first.

    Two pools share a group exactly where they are not separated. They come in the order of their
    figures, but that what is clearly stronger comes before what is weaker.
    """
    ordered = _in_order([pool for pool in pools if can_be_ranked(pool)], concluded)
    if not ordered:
        return []
    ahead = np.array([[_is_stronger(a, b, concluded) for b in ordered] for a in ordered])
    of_join: list[list[int]] = [[] for _ in ordered]
    for position, group in enumerate(groups(ahead | ahead.T)):
        for at in group:
            of_join[at].append(position)
    return [
        Place(
            pool,
            first=1 + int(ahead[:, at].sum()),
            last=len(ordered) - int(ahead[at].sum()),
            groups=tuple(of_join[at]),
        )
        for at, pool in enumerate(ordered)
    ]


def _in_order(pools: Sequence[Pool], concluded: Conclusions) -> list[Pool]:
    """By figure, each after those that are clearly stronger.

    Where these lead round in a circle, which separate tests of each pair allow, by figure alone.
    """
    left = sorted(pools, key=lambda pool: -float(figures_of(pool.current)["mu"]))
    ordered: list[Pool] = []
    while left:
        free = (
            pool for pool in left if not any(_is_stronger(one, pool, concluded) for one in left)
        )
        ordered.append(next(free, left[0]))
        left.remove(ordered[-1])
    return ordered


def _is_stronger(one: Pool, other: Pool, concluded: Conclusions) -> bool:
    found = concluded.get(frozenset((one.pk, other.pk)))
    return found is not None and found.differs and found.stronger == one.pk


@dataclass(frozen=True)
class Chance:
    """How sure a join's place is by the pools: mean certainty of being better than another of the
    pair (P-score; Ruecker & Schwarzer 2015), and the probability that none is better.

    ``contradicted_by`` are the ids of pools whose joins are concluded to be stronger than this one,
    though one of these says the opposite.
    """

    better: float
    best: float
    contradicted_by: tuple[int, ...] = ()


def chances(
    pools: Sequence[Pool], comparison: DirectComparison | None, concluded: Conclusions
) -> dict[int, Chance]:
    """The chance of each pooled join among its line pair, by the pool's id; a lone join is best.

    ``comparison`` knows how the pooled figures vary together where testers tied several joins;
    what it does not know of counts as independent. What is ``concluded`` of two joins may rest on
    direct comparisons, which enter no chance: where the two disagree, the chance says so.
    """
    pooled = [pool for pool in pools if can_be_ranked(pool)]
    if len(pooled) < 2:
        return {pool.pk: Chance(1.0, 1.0) for pool in pooled}
    mu, se, df = (_column(pooled, name) for name in RANKED_BY)
    error, freedom = steadied(se, df, _column(pooled, "testers"))
    together = _correlation([pool.pk for pool in pooled], comparison)
    found = rank(mu, together * np.outer(error, error), freedom)
    likely = {
        pool.pk: Chance(float(better), float(best))
        for pool, better, best in zip(pooled, found.p_score, found.best, strict=True)
    }
    return {
        pk: replace(one, contradicted_by=_ahead_of(pk, likely, concluded))
        for pk, one in likely.items()
    }


def _ahead_of(weaker: int, likely: Mapping[int, Chance], concluded: Conclusions) -> tuple[int, ...]:
    """Pools of joins that are clearly stronger than this one and have a lesser chance."""
    found = []
    for pk, other in likely.items():
        pair, one = concluded.get(frozenset((weaker, pk))), likely[weaker]
        lesser = other.best < one.best or other.better < one.better
        if pair is not None and pair.differs and pair.stronger == pk and lesser:
            found.append(pk)
    return tuple(sorted(found))


def _column(pools: Sequence[Pool], name: str) -> Floats:
    return np.array([figures_of(pool.current)[name] for pool in pools])


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
