"""The fit of a pool: its model, its variance components, and the intervals of these.

What the components mean and which of them are fitted stands in `pooling`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, reduce
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.block_sums import LEVELS, TESTER
from results.statistics.components import (
    At,
    Booleans,
    Maximum,
    Search,
    given,
    likelihood_at,
    maximise,
    search,
)
from results.statistics.crossed_errors import CrossedErrors
from results.statistics.crossed_factors import both_ways, identifiable_factors, over_component
from results.statistics.errors import (
    NoScatter,
    NotFinite,
    NotNested,
    NotPositive,
    ShapeMismatch,
    StatisticsError,
    TooExtreme,
    TooFewTesters,
)
from results.statistics.heterogeneity import Homogeneity, homogeneity, total_end
from results.statistics.kurtosis import widening
from results.statistics.nested_errors import NestedErrors
from results.statistics.nesting import Nesting, identifiable, nest
from results.statistics.prediction import (
    BetweenTesters,
    between_testers,
    lower_bound,
    prediction_interval,
)
from results.statistics.profile import DROP, profile_high, profile_low
from results.statistics.zero_errors import shared_errors

Floats = NDArray[np.float64]
Ends: TypeAlias = tuple[float, float]

LEAST_TESTERS = 3
NOTHING_CROSSED: Mapping[str, ArrayLike] = MappingProxyType({})
LARGEST_LOG, LEAST_VARIANCE, LARGEST_VARIANCE = 700.0, 1e-40, 1e40
"""Beyond these a sum of cubes leaves what a number can hold; real ones are far within."""

LARGEST_ZERO = 1e8
"""Square of a zero error over the least variance: beyond, sums would lose half of their digits."""


@dataclass(frozen=True)
class PoolFit:
    """A fitted pool without what follows from the fit: y is measured from `centre`."""

    model: NestedErrors | CrossedErrors
    centre: float
    fitted: Booleans
    at: At
    best: Maximum
    common: Homogeneity
    scale: float
    factors: tuple[str, ...] = ()

    def interval(self, level: int) -> Ends:
        """Profile interval of a component; (0, 0) where not fitted. Raises StatisticsError.

        The factors that cross the testers come after the levels.
        """
        return given(self._ends[level])

    @property
    def robust_tester_interval(self) -> Ends:
        """Interval of the testers' component where their effects need not be normal.

        As its profile interval, with a fall that grows with the kurtosis of the testers' means.
        Raises StatisticsError.
        """
        sums = self.model.by_tester(np.array([0.0, *self.best.theta[1 : len(LEVELS)]])).cross
        of_all, of_y = sums[:, 0, 0], sums[:, 0, -1]
        distance = of_y / of_all - self.best.likelihood.beta[0]
        drop = DROP * widening(distance / np.sqrt(1 / of_all + self.best.theta[TESTER]))
        if drop == DROP:
            return self.interval(TESTER)
        low, high = search(
            self.at,
            profile_low(self.best, self.fitted, TESTER, drop),
            profile_high(self.best, self.fitted, TESTER, self.scale, drop),
        )
        return given(_both(low, high))

    @property
    def total_interval(self) -> Ends:
        """Interval of the sum of the components. Raises StatisticsError."""
        return given(self._ends[-1])

    @cached_property
    def _ends(self) -> tuple[Ends | StatisticsError, ...]:
        """The intervals of the components and of their sum: all ends are searched in step."""
        best, fitted = self.best, self.fitted
        searches: list[Search[float]] = []
        for level in np.flatnonzero(fitted).tolist():
            searches += [
                profile_low(best, fitted, level),
                profile_high(best, fitted, level, self.scale),
            ]
        searches += [
            total_end(best, fitted, self.common.df, probability, self.scale)
            for probability in (0.975, 0.025)
        ]
        ends = search(self.at, *searches)
        found = [_both(*pair) for pair in zip(ends[::2], ends[1::2], strict=True)]
        intervals = [found.pop(0) if is_fitted else (0.0, 0.0) for is_fitted in fitted.tolist()]
        return (*intervals, found[0])

    @cached_property
    def between_testers(self) -> BetweenTesters:
        """Raises StatisticsError where the testers' component has no interval."""
        testers = self.model.nesting.testers.size
        return between_testers(self.at, self.best, self.interval(TESTER), testers)

    @cached_property
    def between_levels(self) -> BetweenTesters | None:
        """Spread of the components of the factors; None where there are none."""
        places = range(len(LEVELS), self.best.theta.size)
        spreads = [over_component(self.at, self.best, place) for place in places]
        if not spreads:
            return None
        return reduce(lambda one, other: both_ways(one, other, self.best), spreads)

    @cached_property
    def between_all(self) -> BetweenTesters:
        """Spread of the testers' component, and of the factors'. Raises StatisticsError."""
        crossed, testers = self.between_levels, self.between_testers
        return testers if crossed is None else both_ways(crossed, testers, self.best)

    @property
    def prediction(self) -> Ends:
        """95 percent interval for the true value of a new tester's next set, from `centre`.

        Where factors are fitted, with a new level of each. Raises StatisticsError.
        """
        return prediction_interval(self.between_all)

    def lower_bound(self, pull_variance: float, coverage: float, confidence: float) -> float:
        """Log efficiency that `coverage` of new testers' next pulls exceed (see prediction).

        Raises StatisticsError.
        """
        return self.centre + lower_bound(self.between_all, pull_variance, coverage, confidence)


def _both(low: float | StatisticsError, high: float | StatisticsError) -> Ends | StatisticsError:
    if isinstance(low, StatisticsError):
        return low
    return high if isinstance(high, StatisticsError) else (low, high)


def fit_pool(
    y: ArrayLike,
    own_variance: ArrayLike,
    shared_variance: ArrayLike,
    tester: ArrayLike,
    session: ArrayLike,
    baseline: ArrayLike,
    *,
    crossed: Mapping[str, ArrayLike] = NOTHING_CROSSED,
    zero: ArrayLike = 0.0,
    scale: ArrayLike = 0,
) -> PoolFit:
    """The fit alone; arguments and errors as for `pool`."""
    model, centre = nested_errors(
        y, own_variance, shared_variance, tester, session, baseline, zero=zero, scale=scale
    )
    factors, levels = identifiable_factors(crossed, tester)
    whole = CrossedErrors(model, levels) if factors else model
    fitted = np.append(identifiable(model.nesting), np.ones(len(factors), dtype=bool))
    at = likelihood_at(whole)
    common = homogeneity(model)
    spread, typical = float(np.var(model.columns[:, -1])), common.typical_sampling_variance
    start = max(spread / 10, spread - typical) / 2
    best = maximise(at, np.where(fitted, start / fitted.sum(), 0.0), fitted)
    scale = max(spread, typical)
    return PoolFit(whole, centre, fitted, at, best, common, scale, factors)


def nested_errors(
    y: ArrayLike,
    own_variance: ArrayLike,
    shared_variance: ArrayLike,
    tester: ArrayLike,
    session: ArrayLike,
    baseline: ArrayLike,
    *,
    zero: ArrayLike = 0.0,
    scale: ArrayLike = 0,
) -> tuple[NestedErrors, float]:
    """The checked model of a pool, intercept only, y centred on its weighted mean; and that mean.

    Arguments and errors as for `pool`.
    """
    values, own, shared = (
        np.asarray(numbers, dtype=np.float64) for numbers in (y, own_variance, shared_variance)
    )
    if values.ndim != 1 or own.shape != values.shape or shared.shape != values.shape:
        raise ShapeMismatch("y, own_variance and shared_variance must be lists of one length")
    nesting = nest(tester, session, baseline)
    if nesting.baseline_of_set.size != values.size:
        raise ShapeMismatch(f"{values.size} sets, but {nesting.baseline_of_set.size} codes")
    if nesting.testers.size < LEAST_TESTERS:
        raise TooFewTesters(
            f"a pooled figure needs {LEAST_TESTERS} testers; there are {nesting.testers.size}"
        )
    for name, numbers in (("y", values), ("own variance", own), ("shared variance", shared)):
        if not np.isfinite(numbers).all():
            raise NotFinite(f"{name} of set {int(np.argmin(np.isfinite(numbers)))} is missing")
    if (own <= 0).any() or (shared < 0).any():
        raise NotPositive("an own variance must be above zero, a shared one not below")
    marginal = own + shared
    if np.abs(values).max() > LARGEST_LOG or not (
        own.min() >= LEAST_VARIANCE and marginal.max() <= LARGEST_VARIANCE
    ):
        raise TooExtreme(
            f"log efficiencies up to {np.abs(values).max():.3g} with variances from "
            f"{own.min():.3g} to {marginal.max():.3g} are too large or too small to be pooled"
        )
    if np.ptp(values) == 0:
        raise NoScatter("all sets have the same value, so nothing can be said of their scatter")
    of_baseline = np.empty(nesting.session_of_baseline.size)
    of_baseline[nesting.baseline_of_set] = shared
    if not np.array_equal(of_baseline[nesting.baseline_of_set], shared):
        raise NotNested("sets of one baseline were given different shared variances")
    alone, zeros = _errors_of_scales(zero, scale, nesting, float(own.min()))
    centre = float(np.average(values, weights=1 / marginal))
    columns = np.column_stack((np.ones(values.size), values - centre))
    shared_by_several = zeros if zeros.shape[1] else None
    model = NestedErrors(nesting, own + alone, of_baseline, columns, zeros=shared_by_several)
    return model, centre


def _errors_of_scales(
    zero: ArrayLike, scale: ArrayLike, nesting: Nesting, least_variance: float
) -> tuple[Floats, Floats]:
    """Checked; of single sets (k,) and of several (k, c), as `shared_errors`."""
    sets = nesting.baseline_of_set.size
    try:
        moved = np.asarray(zero, dtype=np.float64)
        moved = moved if moved.ndim == 2 else np.broadcast_to(moved, (sets,))[:, None]
        moved = np.broadcast_to(moved, (sets, moved.shape[1]))
        of_scale = np.broadcast_to(np.asarray(scale, dtype=np.int64), (sets,))
    except ValueError as error:
        raise ShapeMismatch(f"{sets} sets, but other numbers of zeros or scales") from error
    if not np.isfinite(moved).all():
        place = int(np.argmin(np.isfinite(moved).all(axis=1)))
        raise NotFinite(f"zero of set {place} is missing")
    if not moved.any():
        return np.zeros(sets), np.zeros((sets, 0))
    if (moved**2).max() > LARGEST_ZERO * least_variance:
        raise TooExtreme(
            f"a zero error that moves a log ratio by {np.abs(moved).max():.3g} is too large beside "
            f"a variance of {least_variance:.3g}"
        )
    codes, scales = np.unique(of_scale, return_inverse=True)
    owner = np.empty(codes.size, dtype=np.intp)
    owner[scales] = nesting.tester_of_set
    astray = np.flatnonzero(owner[scales] != nesting.tester_of_set)
    if astray.size:
        raise NotNested(f"scale {codes[scales[astray[0]]]} lies in more than one tester")
    return shared_errors(moved, scales, nesting.tester_of_set)
