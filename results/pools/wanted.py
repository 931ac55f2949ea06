"""What is wanted: pools that lack a tester or two, and joins that the data can't separate yet."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
from django.db.models import Q
from scipy.stats import t as student

from results.models import Pool, PoolVersion, PullSet
from results.pools.conclusions import Conclusions, conclusions
from results.pools.figures import Figures
from results.pools.selectors import direct_comparisons, key_of, line_pair_of, pools
from results.statistics.planning import (
    ALPHA,
    BeyondReach,
    narrowing_by_a_tester,
    pairs_for_difference,
)
from results.statistics.pool_fit import LEAST_TESTERS
from rigs.models import Contributor

SHORT_BY = 2
"""Testers that a pool may lack to be listed as short."""
DIFFERENCE = 0.05
"""Difference of joins worth telling, as a part of the efficiency; common practice, no source."""
COMPARED = ("first", "second", "difference", "ci_low", "ci_high", "df", "together")


@dataclass(frozen=True)
class Short:
    """A pool without a figure, of so many testers, and how many it ``lacks``."""

    pool: Pool
    testers: int

    @property
    def lacks(self) -> int:
        return LEAST_TESTERS - self.testers


@dataclass(frozen=True)
class Undecided:
    """Two joins that the data can't separate, the stronger one so far first.

    ``more`` counts the days on which both have to be pulled on the same rig, beyond the
    ``together`` there were, to show a difference of `DIFFERENCE` four times in five: none where
    there were enough, None where no number would do. ``apart`` is by how much one held more
    than the other on those days, as a part of what the other held.
    """

    first: Pool
    second: Pool
    together: int
    more: int | None
    apart: float


@dataclass(frozen=True)
class Gain:
    """A pool that a tester can add to: with the figure that it lacks, or with this narrowing.

    ``narrows`` is how much one tester more narrows the interval, as a share of straight line; None
    where it has no interval yet.
    """

    pool: Pool
    testers: int
    narrows: float | None


def short_pools(most: int) -> list[Short]:
    """Pools without a figure that lack a tester or two, those that lack least first."""
    least = LEAST_TESTERS - SHORT_BY
    found = pools().filter(
        current__efficiency=None, current__testers__range=(least, LEAST_TESTERS - 1)
    )
    ordered = found.order_by("-current__testers", "-current__pulls", "pk")[:most]
    return [Short(pool, _version(pool).testers) for pool in ordered]


def undecided(most: int) -> list[Undecided]:
    """Pairs of joins of one line pair that were compared directly and are not separated.

    Those first that the fewest days more would decide, then those that there were days enough for,
    the farthest apart first, and last those that no number of days would decide.
    """
    every = sorted(pools(), key=_line_pair)
    of_pairs = {key: list(found) for key, found in groupby(every, key=_line_pair)}
    line_pairs = [line_pair_of(found[0]) for found in of_pairs.values()]
    found = []
    for key, comparison in direct_comparisons(line_pairs).items():
        by_id = {pool.pk: pool for pool in of_pairs[key]}
        concluded = conclusions(of_pairs[key], comparison)
        for each in map(Figures, comparison.figures.get("differences", ())):
            pair = _undecided(each, by_id, concluded) if each.has(*COMPARED) else None
            if pair is not None:
                found.append(pair)
    return sorted(found, key=_soonest)[:most]


def _soonest(pair: Undecided) -> tuple[float, ...]:
    if pair.more is None:
        return (2, pair.first.pk, pair.second.pk)
    if not pair.more:
        return (1, -pair.apart, pair.first.pk, pair.second.pk)
    return (0, pair.more, pair.first.pk, pair.second.pk)


def _line_pair(pool: Pool) -> tuple[Any, ...]:
    return key_of(line_pair_of(pool))


def _undecided(each: Figures, by_id: dict[int, Pool], concluded: Conclusions) -> Undecided | None:
    first, second = by_id.get(each["first"]), by_id.get(each["second"])
    if first is None or second is None:
        return None
    found = concluded.get(frozenset((first.pk, second.pk)))
    if found is None or found.differs:
        return None
    half_width = (each["ci_high"] - each["ci_low"]) / 2
    se = half_width / student.ppf(1 - ALPHA / 2, each["df"])
    together = each["together"]
    try:
        needed = pairs_for_difference(DIFFERENCE, se * float(np.sqrt(together)))
    except BeyondReach:
        more = None
    else:
        more = max(needed - together, 0)
    if (_version(first).efficiency or 0.0) < (_version(second).efficiency or 0.0):
        first, second = second, first
    return Undecided(first, second, together, more, float(np.expm1(abs(each["difference"]))))


def gains_for(contributor: Contributor, most: int) -> list[Gain]:
    """What a tester can pull next on lines of the materials they have, the largest gain first.

    First pools that lack a tester for their figure, the nearest to it first; then those whose
    interval one more tester narrows most. Pools that they are in are left out.
    """
    tied = PullSet.objects.filter(session__contributor=contributor)
    lines = tied.values_list("main_line__material", "leader_line__material")
    materials = {material for pair in lines for material in pair if material}
    found = [
        _gain(pool)
        for pool in pools()
        .filter(_on_lines_of(materials))
        .exclude(normalised_sets__pull_set__session__contributor=contributor)
    ]
    return sorted(found, key=_order)[:most]


def _on_lines_of(materials: Collection[str]) -> Q:
    return Q(main_material__in=materials, leader_material__in=["", *materials])


def _gain(pool: Pool) -> Gain:
    version = _version(pool)
    low, high, testers = version.interval_low, version.interval_high, version.testers
    if low is None or high is None or testers < LEAST_TESTERS:
        return Gain(pool, testers, None)
    return Gain(pool, testers, (high - low) * narrowing_by_a_tester(testers))


def _order(gain: Gain) -> tuple[float, ...]:
    if gain.narrows is None:
        return (0, -gain.testers, gain.pool.pk)
    return (1, -gain.narrows, gain.pool.pk)


def _version(pool: Pool) -> PoolVersion:
    """The current version, which every pool of a lookup has."""
    assert pool.current is not None
    return pool.current
