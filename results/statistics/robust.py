"""Robust mean and standard deviation: Algorithms A and S of ISO 13528:2022, annex C.3.1 and C.4.

Both clip values at a distance from the present estimate and repeat to convergence (Huber 1981).
The standard's printed examples stop at the third significant figure and so differ by one unit in
places.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom, chi2

from results.statistics.errors import (
    NoConvergence,
    NoScatter,
    NotFinite,
    NotPositive,
    TooFewPulls,
)

MEDIAN_DEVIATION_TO_SD = 1.483
CLIP_AT_SDS = 1.5
CLIPPED_SD_TO_SD = 1.134
"""The three constants of Algorithm A as ISO 13528 rounds them."""

MOST_STEPS = 1000
LEAST_SHARE_OF_SD = 1e-9
"""Of the plain standard deviation; a robust one below it is on its way to zero."""


@dataclass(frozen=True)
class RobustMean:
    """Mean, standard deviation and the mean's standard uncertainty 1.25 s/sqrt(p) (ISO 13528)."""

    mean: float
    sd: float
    standard_uncertainty: float


def _finite(values: ArrayLike) -> NDArray[np.float64]:
    x = np.asarray(values, dtype=float).ravel()
    if x.size < 2:
        raise TooFewPulls(f"{x.size} value: a robust estimate needs at least 2")
    if not np.isfinite(x).all():
        raise NotFinite("a value is missing, not a number or infinite")
    return x


def algorithm_a(values: ArrayLike) -> RobustMean:
    """Robust mean and standard deviation of values (p,).

    Where half the values or more are the same, the median deviation it starts from is zero; the
    standard allows to start from the plain standard deviation then (a note to C.3.1; from memory).
    Raises `NoScatter` where that comes to nothing too: all but a few are the same.
    """
    x = _finite(values)
    mean, plain_sd = float(np.median(x)), float(x.std(ddof=1))
    sd = MEDIAN_DEVIATION_TO_SD * float(np.median(np.abs(x - mean))) or plain_sd
    for _ in range(MOST_STEPS):
        if sd <= LEAST_SHARE_OF_SD * plain_sd:
            raise NoScatter("all values but a few are the same, so no robust scatter exists")
        clipped = np.clip(x, mean - CLIP_AT_SDS * sd, mean + CLIP_AT_SDS * sd)
        before = mean, sd
        mean, sd = float(clipped.mean()), CLIPPED_SD_TO_SD * float(clipped.std(ddof=1))
        if abs(mean - before[0]) + abs(sd - before[1]) <= 1e-13 * (abs(mean) + sd):
            return RobustMean(mean, sd, 1.25 * sd / float(np.sqrt(x.size)))
    raise NoConvergence(f"Algorithm A did not settle in {MOST_STEPS} steps")


def limit_and_adjustment_factor(degrees_of_freedom: int) -> tuple[float, float]:
    """eta and xi of Algorithm S for standard deviations on so many degrees of freedom."""
    if degrees_of_freedom < 1:
        raise NotPositive(f"degrees of freedom must be 1 or more, got {degrees_of_freedom}")
    eta_squared = float(chi2.ppf(0.90, degrees_of_freedom)) / degrees_of_freedom
    inside = float(chi2.cdf(degrees_of_freedom * eta_squared, degrees_of_freedom + 2))
    return float(np.sqrt(eta_squared)), 1.0 / float(np.sqrt(inside + 0.1 * eta_squared))


def algorithm_s(sds: ArrayLike, degrees_of_freedom: int) -> float:
    """Robust pooled standard deviation of ``sds`` (p,), each on the same degrees of freedom."""
    w = _finite(sds)
    if (w < 0).any():
        raise NotPositive("a standard deviation is below zero")
    eta, xi = limit_and_adjustment_factor(degrees_of_freedom)
    pooled = float(np.median(w))
    for _ in range(MOST_STEPS):
        if pooled <= 0:
            raise NoScatter("half the standard deviations or more are zero")
        before = pooled
        pooled = xi * float(np.sqrt((np.minimum(w, eta * pooled) ** 2).mean()))
        if abs(pooled - before) <= 1e-14 * pooled:
            return pooled
    raise NoConvergence(f"Algorithm S did not settle in {MOST_STEPS} steps")


def median_interval(values: ArrayLike, confidence: float) -> tuple[float, float, float]:
    """Median of values (n,) and the ends of its interval, which are two of the values.

    Distribution-free: the j-th lowest and highest, j the largest for which the binomial chance that
    fewer than j of n lie on one side is at most half of what the confidence leaves (Conover 1999,
    Practical Nonparametric Statistics, chapter 3.2). Not numbers below six values at 0.95, of which
    even the outermost do not hold it. Raises TooFewPulls (no value), NotFinite.
    """
    x = np.sort(_finite(values))
    if not x.size:
        raise TooFewPulls("a median needs a value")
    tail = (1 - confidence) / 2
    below = int(np.searchsorted(binom.cdf(np.arange(x.size // 2 + 1), x.size, 0.5), tail, "right"))
    middle = float(np.median(x))
    if not below:
        return middle, float("nan"), float("nan")
    return middle, float(x[below - 1]), float(x[x.size - below])
