"""What is concluded of each two joins of a line pair: one answer for all pages.

The list's groups, the comparison page, the API and what is wanted all say what stands here, and
none of them tests anything itself.

Two joins can be separated by testers who tied both against the same straight line, where rig, day
and line cancel (`join_contrasts`, in one network that also reaches two joins over a third), and by
the pooled efficiencies (Welch 1947, Biometrika 34:28-35, from Satterthwaite's degrees of freedom of
each). Of a pair that has both the one with the narrower 95 percent interval decides, mostly the
former: which of them that is says nothing of how far the joins lie apart, or which way. The p
values of all pairs are then adjusted together (Holm 1979): of equal joins some are found to differ
in at most 5 of 100 line pairs.

Five joins, testers from t on 4 degrees of freedom (sd 0.04, half of it shared by all joins), 1 to 3
sessions; 250 worlds each, Monte Carlo error about 1 where joins are equal and 1.5 else. In percent,
how often any two of equal joins are found to differ, and of how many pairs of joins 8 percent apart
a difference is found, by the pools, by direct comparisons wherever there are any, and by the surer:

    testers                             equal joins         8 percent apart
    5, each ties all                    0.0  2.0  2.0       35.6  35.0  44.2
    10, each ties every second          0.4  1.2  1.6       33.0  24.7  37.1
    20 of one join each, 3 of all       1.6  1.6  2.8       47.4   5.2  47.0
    10, each ties all, 4 percent apart                      26.3  34.4  36.4

Where joins differ, the wrong one is called the stronger in 0.4 to 1.6 percent of the worlds. Where
three testers alone tied both, their comparison would hide what the pools show; both tested, at half
the level each, finds 35.0, 29.5 and 41.9 percent.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from typing import Any

from scipy.stats import t as student

from results.models import DirectComparison, Pool
from results.pools.figures import Figures, figures_of
from results.statistics.multiplicity import holm

SIGNIFICANT = 0.05
"""Adjusted p up to which two joins are said to differ."""
RANKED_BY = ("mu", "se_robust", "df_satterthwaite")
COMPARED = ("first", "second", "difference", "ci_low", "ci_high", "p")


class Evidence(StrEnum):
    """What decides about a pair of joins."""

    DIRECT = "direct comparisons"
    POOLS = "pools"


@dataclass(frozen=True)
class Conclusion:
    """Of two pools by their ids: ln of the efficiency of ``stronger`` over that of ``weaker``.

    ``p`` and the interval are of this difference alone, ``p_holm`` is adjusted for all pairs of the
    line pair.
    """

    stronger: int
    weaker: int
    evidence: Evidence
    difference: float
    ci_low: float
    ci_high: float
    p: float
    p_holm: float

    @property
    def differs(self) -> bool:
        """Whether the two are separated."""
        return self.p_holm <= SIGNIFICANT

    @property
    def _width(self) -> float:
        return self.ci_high - self.ci_low


Conclusions = Mapping[frozenset[int], Conclusion]
"""By the ids of both pools; a pair of which nothing is known is not there."""


def conclusions(pools: Sequence[Pool], comparison: DirectComparison | None) -> Conclusions:
    """What is concluded of each pair of these pools, which are those of one line pair.

    ``comparison`` is that of the line pair, None where there is none.
    """
    of_pools = {frozenset((one.stronger, one.weaker)): one for one in _by_pools(pools)}
    found = dict(of_pools)
    for one in _direct(pools, comparison):
        pair = frozenset((one.stronger, one.weaker))
        beside = of_pools.get(pair)
        if beside is None or one._width <= beside._width:
            found[pair] = one
    adjusted = holm([one.p for one in found.values()]).tolist() if found else []
    return {
        pair: replace(one, p_holm=p_holm)
        for (pair, one), p_holm in zip(found.items(), adjusted, strict=True)
    }


def with_adjusted_p(
    comparison: DirectComparison | None, concluded: Conclusions
) -> DirectComparison | None:
    """The comparison, each of its differences with the adjusted p of what is concluded."""
    differences: Sequence[Any] = comparison.figures.get("differences", ()) if comparison else ()
    for each in differences:
        found = concluded.get(frozenset((each["first"], each["second"])))
        if found is not None:
            each["p_holm"] = found.p_holm
    return comparison


def can_be_ranked(pool: Pool) -> bool:
    """Whether it has a pooled figure, and of a version that knows all that ranking takes."""
    return figures_of(pool.current).has(*RANKED_BY)


def _by_pools(pools: Sequence[Pool]) -> Iterator[Conclusion]:
    """Welch's test. Testers who tied both would make it surer; that is left out here."""
    known = {
        pool.pk: tuple(float(figures_of(pool.current)[name]) for name in RANKED_BY)
        for pool in pools
        if can_be_ranked(pool)
    }
    for (first, (mu, se, df)), (second, (other_mu, other_se, other_df)) in combinations(
        known.items(), 2
    ):
        variance = se**2 + other_se**2
        freedom = variance**2 / (se**4 / df + other_se**4 / other_df)
        reach = float(student.ppf(0.975, freedom)) * math.sqrt(variance)
        difference = mu - other_mu
        p = 2 * float(student.sf(abs(difference) / math.sqrt(variance), freedom))
        yield _stronger_first(first, second, Evidence.POOLS, difference, reach, p)


def _direct(pools: Sequence[Pool], comparison: DirectComparison | None) -> Iterator[Conclusion]:
    here = {pool.pk for pool in pools}
    compared: Sequence[Any] = comparison.figures.get("differences", ()) if comparison else ()
    for each in map(Figures, compared):
        if each.has(*COMPARED) and {each["first"], each["second"]} <= here:
            reach = (each["ci_high"] - each["ci_low"]) / 2
            pair = each["first"], each["second"]
            yield _stronger_first(*pair, Evidence.DIRECT, each["difference"], reach, each["p"])


def _stronger_first(
    first: int, second: int, evidence: Evidence, difference: float, reach: float, p: float
) -> Conclusion:
    if difference < 0:
        first, second, difference = second, first, -difference
    ends = difference - reach, difference + reach
    return Conclusion(first, second, evidence, difference, *ends, p=p, p_holm=p)
