"""Which effects that cross the testers a pool can identify, and how they enter its intervals.

A factor (line product, club round) is fitted where at least `LEAST_LEVELS` of its levels each have
at least `LEAST_TESTERS_OF_LEVEL` testers: two levels leave its variance one degree of freedom, and
a level of one tester can't be separated from that tester. Otherwise the figure is for the levels
that were pulled, and pages name them.

The few levels leave the variance itself unsure, and it is often estimated as zero. So the
interval of the mean is averaged over it: its restricted likelihood times a half-Cauchy prior of its
root with scale `SCALE` (Gelman 2006, Bayesian Analysis 1:515-533, for variances of few groups), the
other components at their estimates.

Coverage and median half-width in percent, testers of t with 4 degrees of freedom (sd 0.04),
sessions 0.02, each on one of the products; products of sd 0.03, and of 0 in brackets; 200 runs,
Monte Carlo error 1.5:

    testers, products   without         half-Cauchy 0.03  half-Cauchy 0.05  model, t on products - 1
    10, 3               86.9 3.4        96.5 5.1          96.5 5.9          98.5 8.5
    10, 4               85.9 3.5        94.0 4.6          95.5 5.1          98.5 6.2
    30, 3               65.5 1.9 (95.0) 94.0 4.6 (100)    98.0 5.4 (100)    98.0 7.0 (100)
    30, 4               70.0 1.9 (95.0) 94.5 3.8 (98.5)   96.5 4.3 (99.0)   97.5 4.7 (99.5)
    30, 6               82.5 1.9 (94.5) 93.5 3.2 (97.0)   94.5 3.4 (97.5)   96.0 3.6 (98.5)

Clubs' rounds of sd 0.03, 3 sessions a tester, testers as clusters before and this after (coverage
and median half-width in percent, 200 runs):

    testers, rounds                       by testers    half-Cauchy 0.04
    30, 4, each in one of them            79.5 1.9      96.5 4.2
    30, 4, each day in another            73.0 1.7      97.5 4.4
    10, 4, each in one of them            85.0 3.6      97.5 5.0
    10, 4, each day in another            82.0 3.2      97.5 4.9
    10, 3, each in one of them            84.8 3.7      96.8 6.1    (125 runs, mean half-widths)
    30, 4, rounds that don't differ       98.0 1.8      100  2.8    (51 runs, likewise)

The last is what the prior costs: where spools don't differ, four of them can't show it.

Tried as well (150 runs, 10 and 30 testers on 3 products): Satterthwaite's degrees of freedom of the
model's variance 97.3 and 91.3, two-way robust errors (Cameron, Gelbach & Miller 2011) with t on
products - 1 100 and 97.3 at half-widths of 9.3 and 6.9.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.components import At, Maximum
from results.statistics.errors import NotEstimable, ShapeMismatch
from results.statistics.nesting import Codes
from results.statistics.prediction import BetweenTesters

Floats = NDArray[np.float64]

LEAST_LEVELS = 3
LEAST_TESTERS_OF_LEVEL = 2
MOST_LEVELS = 50
"""Levels of a factor that are fitted, those of most testers; the others' effects count with
their testers'. It bounds the cost."""
SCALE = 0.04
POINTS = 48


def testers_of_levels(level: ArrayLike, tester: ArrayLike) -> tuple[Codes, Codes]:
    """The levels of a factor, codes (k,) with those below 0 for none, and testers of each."""
    of_set, testers = np.asarray(level, dtype=np.int64), np.asarray(tester, dtype=np.int64)
    if of_set.shape != testers.shape or of_set.ndim != 1:
        raise ShapeMismatch("the levels of a factor and the testers must be lists of one length")
    known = of_set >= 0
    pairs = np.unique(np.stack((of_set[known], testers[known])), axis=1)
    levels, count = np.unique(pairs[0], return_counts=True)
    return levels, count


def is_identifiable(level: ArrayLike, tester: ArrayLike) -> bool:
    """Whether enough levels of a factor have several testers each."""
    _, testers = testers_of_levels(level, tester)
    return bool((testers >= LEAST_TESTERS_OF_LEVEL).sum() >= LEAST_LEVELS)


def identifiable_factors(
    crossed: Mapping[str, ArrayLike], tester: ArrayLike
) -> tuple[tuple[str, ...], Codes]:
    """Names of the factors to fit, and levels (k, f) numbered from 0, -1 for none.

    A factor that groups the sets as one before it does is left out. Raises ShapeMismatch.
    """
    names: list[str] = []
    columns: list[Codes] = []
    for name, codes in crossed.items():
        if not is_identifiable(codes, tester):
            continue
        levels, testers = testers_of_levels(codes, tester)
        kept = np.sort(levels[np.argsort(-testers, kind="stable")[:MOST_LEVELS]])
        of_set = np.asarray(codes, dtype=np.int64)
        column = np.where(np.isin(of_set, kept), np.searchsorted(kept, of_set), -1)
        if not any(_is_same_grouping(column, other) for other in columns):
            names.append(name)
            columns.append(column)
    none = np.empty((np.asarray(tester).size, 0), dtype=np.intp)
    return tuple(names), np.stack(columns, axis=1) if columns else none


def _is_same_grouping(one: Codes, other: Codes) -> bool:
    both = int(np.unique(np.stack((one, other)), axis=1).shape[1])
    return bool(both == np.unique(one).size == np.unique(other).size)


def over_component(at: At, best: Maximum, component: int) -> BetweenTesters:
    """Spread of a component given the data, at even quantiles of its prior; or NotEstimable."""
    middle = (np.arange(POINTS) + 0.5) / POINTS
    theta = np.tile(best.theta, (POINTS, 1))
    theta[:, component] = (SCALE * np.tan(np.pi / 2 * middle)) ** 2
    found = at(theta)
    value = np.array([one.value for one in found])
    weight = np.exp(value - value.max())
    if not np.isfinite(weight).all():
        raise NotEstimable(
            "how much line products, or rounds, differ can't be weighed by these sets"
        )
    return BetweenTesters(
        weight / weight.sum(),
        np.array([one.beta[0] for one in found]),
        np.array([one.covariance[0, 0] for one in found]),
        theta.sum(axis=1),
    )


def both_ways(one: BetweenTesters, other: BetweenTesters, best: Maximum) -> BetweenTesters:
    """Two components spread independently, each from its own; the rest as at `best`.

    What each adds to the variance of mu and to tau2 is added up.
    """
    mu, variance = float(best.likelihood.beta[0]), float(best.likelihood.covariance[0, 0])
    least = np.minimum(one.variance[:, None], other.variance)
    return BetweenTesters(
        (one.weight[:, None] * other.weight).ravel(),
        (one.mu[:, None] + other.mu - mu).ravel(),
        np.maximum(one.variance[:, None] + other.variance - variance, least).ravel(),
        (one.tau2[:, None] + other.tau2 - best.theta.sum()).ravel(),
    )
