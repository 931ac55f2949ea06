"""Efficiency of one pull set: mean strength of the join over that of the straight line.

The log ratio carries the small-sample correction of Lajeunesse (2015), Ecology 96:2056, and its
variance falls into an own part (the join's pulls) and a part shared by every set of the same
baseline (Lajeunesse 2011, Ecology 92:2049).  The interval of the ratio is Fieller's (1954, JRSS B
16:175), with Welch's degrees of freedom taken at each limit (Tamhane & Logan 2004, Biometrical
Journal 46:548 deal with unequal variances so).  A scale's gain cancels in the ratio; its offset
does not: an error d of all loads moves ln(ratio) by (1/mean_join - 1/mean_baseline) d to first
order.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtri, stdtrit

from results.statistics.censored import Strength
from results.statistics.errors import NotEstimable, NotPositive
from results.statistics.ratio import corrected_log_ratio, relative_variance
from results.statistics.roots import root_between, root_beyond

LARGEST_LOG = 700.0  # exp() of more is beyond all numbers
IntervalOpen = Literal[
    "the baseline's mean is too uncertain to divide by: no finite interval",
    "the join's mean is too uncertain: the interval has no lower end above zero",
]
NO_UPPER_END: IntervalOpen = "the baseline's mean is too uncertain to divide by: no finite interval"
NO_LOWER_END: IntervalOpen = (
    "the join's mean is too uncertain: the interval has no lower end above zero"
)


@dataclass(frozen=True)
class RatioInterval:
    """Fieller's set for a ratio of two means; the ends are None where it is not an interval.

    ``g`` is t^2 v_denominator / denominator^2: at 1 or above the set is the outside of two numbers
    or the whole line.
    """

    ratio: float
    low: float | None
    high: float | None
    g: float
    open_because: IntervalOpen | None


def fieller(
    numerator: float,
    numerator_variance: float,
    denominator: float,
    denominator_variance: float,
    *,
    degrees_of_freedom: float,
    confidence: float = 0.95,
) -> RatioInterval:
    """Interval of numerator/denominator, variances being those of the two means (Fieller 1954).

    For variances that rest on one pooled estimate with ``degrees_of_freedom``.  Raises
    `NotPositive` unless both means, both variances and the degrees of freedom are above zero.
    """
    _need_positive(
        numerator, numerator_variance, denominator, denominator_variance, degrees_of_freedom
    )
    ratio = numerator / denominator
    t = float(stdtrit(degrees_of_freedom, 0.5 + confidence / 2.0))
    g = t**2 * denominator_variance / denominator**2
    if g >= 1.0:
        return RatioInterval(ratio, None, None, g, NO_UPPER_END)
    half = (t / denominator) * np.sqrt(
        numerator_variance * (1.0 - g) + ratio**2 * denominator_variance
    )
    low, high = float((ratio - half) / (1.0 - g)), float((ratio + half) / (1.0 - g))
    return _with_positive_low(ratio, low, high, g)


def _with_positive_low(ratio: float, low: float, high: float, g: float) -> RatioInterval:
    if low <= 0:
        return RatioInterval(ratio, None, high, g, NO_LOWER_END)
    return RatioInterval(ratio, low, high, g, None)


def _need_positive(*figures: float) -> None:
    if not all(np.isfinite(figure) and figure > 0 for figure in figures):
        found = ", ".join(f"{figure:g}" for figure in figures)
        message = f"means, their variances and degrees of freedom must be above zero, got {found}"
        raise NotPositive(message)


def fieller_unequal(
    numerator: float,
    numerator_variance: float,
    denominator: float,
    denominator_variance: float,
    *,
    numerator_freedom: float,
    denominator_freedom: float,
    confidence: float = 0.95,
) -> RatioInterval:
    """As `fieller`, each variance resting on its own estimate and degrees of freedom.

    A ratio r belongs to the interval when Welch's test does not reject numerator = r denominator;
    ``g`` is the limit of that test for large r, where the denominator's own freedom is left.
    """
    _need_positive(
        numerator,
        numerator_variance,
        denominator,
        denominator_variance,
        numerator_freedom,
        denominator_freedom,
    )
    tail = 0.5 + confidence / 2.0

    def excess(r: float) -> float:
        of_denominator = r * r * denominator_variance
        variance = numerator_variance + of_denominator
        freedom = variance**2 / (
            numerator_variance**2 / numerator_freedom + of_denominator**2 / denominator_freedom
        )
        t = float(stdtrit(freedom, tail))
        return abs(numerator - r * denominator) - t * float(np.sqrt(variance))

    ratio = numerator / denominator
    g = float(stdtrit(denominator_freedom, tail)) ** 2 * denominator_variance / denominator**2
    if g >= 1.0:
        return RatioInterval(ratio, None, None, g, NO_UPPER_END)
    high = root_beyond(lambda r: -excess(r), ratio, ratio)
    if excess(0.0) <= 0:
        return RatioInterval(ratio, None, high, g, NO_LOWER_END)
    low = root_between(excess, 0.0, ratio)
    return RatioInterval(ratio, low, high, g, None)


def coefficient_of_variation_interval(
    cv: float, degrees_of_freedom: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Interval of a CV: chi-square's for the variance of ln(load), ln(1 + cv^2).

    For lognormal loads (Koopmans, Owen & Rosenblatt 1964, Biometrika 51:25-32).  Raises
    `NotPositive` unless cv and the degrees of freedom are above zero.
    """
    _need_positive(cv, degrees_of_freedom)
    tail = (1.0 - confidence) / 2.0
    squares = degrees_of_freedom * float(np.log1p(cv**2))

    def limit(above: float) -> float:
        return float(np.sqrt(np.expm1(squares / chdtri(degrees_of_freedom, above))))

    with np.errstate(over="ignore"):
        return limit(tail), limit(1.0 - tail)


@dataclass(frozen=True)
class Efficiency:
    """Efficiency of a join against its baseline, pulled on one rig in one session.

    ``log_ratio`` and the variances are what a pool takes; ``ratio`` is exp(log_ratio).  Each
    variance is of ln(ratio) and rests on this set's own CVs.  ``offset_per_N`` is the change of
    ln(ratio) for each newton by which all loads were read too high or too low;
    ``offset_log_uncertainty`` is its size times the offset's standard uncertainty.  The Fieller
    interval leaves the offset out.
    """

    ratio: float
    log_ratio: float
    own_variance: float
    shared_variance: float
    fieller_low: float | None
    fieller_high: float | None
    interval_open: IntervalOpen | None
    offset_per_N: float
    offset_log_uncertainty: float
    cv_join: float
    cv_join_low: float
    cv_join_high: float
    cv_baseline: float
    cv_baseline_low: float
    cv_baseline_high: float


def efficiency(join: Strength, baseline: Strength, u_offset_N: float = 0.0) -> Efficiency:
    """Efficiency of a set of pulls with strength ``join`` against the straight line's.

    ``u_offset_N`` is the standard uncertainty of the scale's zero in newtons.  Raises
    `NotEstimable` where the scatter leaves no ratio, `NoConvergence`, and what the strengths raise.
    """
    a = relative_variance(join.cv, join.n_effective)
    b = relative_variance(baseline.cv, baseline.n_effective)
    log = corrected_log_ratio(join.mean_N, baseline.mean_N, a, b)
    interval = fieller_unequal(
        join.mean_N,
        join.sd_N**2 / join.n_effective,
        baseline.mean_N,
        baseline.sd_N**2 / baseline.n_effective,
        numerator_freedom=join.degrees_of_freedom,
        denominator_freedom=baseline.degrees_of_freedom,
    )
    offset_per_N = 1.0 / join.mean_N - 1.0 / baseline.mean_N
    cv_join_low, cv_join_high = coefficient_of_variation_interval(join.cv, join.degrees_of_freedom)
    cv_baseline_low, cv_baseline_high = coefficient_of_variation_interval(
        baseline.cv, baseline.degrees_of_freedom
    )
    if not abs(log.y[0]) < LARGEST_LOG:
        raise NotEstimable("the loads scatter so widely that their ratio is beyond all numbers")
    return Efficiency(
        ratio=float(np.exp(log.y[0])),
        log_ratio=float(log.y[0]),
        own_variance=float(log.own_variance[0]),
        shared_variance=float(log.shared_variance[0]),
        fieller_low=interval.low,
        fieller_high=interval.high,
        interval_open=interval.open_because,
        offset_per_N=offset_per_N,
        offset_log_uncertainty=abs(offset_per_N) * u_offset_N,
        cv_join=join.cv,
        cv_join_low=cv_join_low,
        cv_join_high=cv_join_high,
        cv_baseline=baseline.cv,
        cv_baseline_low=cv_baseline_low,
        cv_baseline_high=cv_baseline_high,
    )
