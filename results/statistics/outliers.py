"""Tests for a value, a pair of values or a scatter that stands apart: Grubbs, Rosner, Cochran.

Grubbs (1950, 1969), Grubbs & Beck (1972) and Cochran (1941) as ISO 5725-2 uses them; Cochran for
unequal numbers of results after 't Lam (2010), Analytica Chimica Acta 659:68-84; generalised ESD
after Rosner (1983), Technometrics 25:165-172.  Probabilities of the single Grubbs, Rosner and
Cochran tests are Bonferroni bounds, exact in the range where anyone acts on them (Quesenberry &
David 1961).  A test names what to look at; it never decides that a value goes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import f as fisher
from scipy.stats import t as student

from results.statistics.double_grubbs import DOUBLE_GRUBBS_CRITICAL
from results.statistics.errors import (
    NoScatter,
    NotFinite,
    ShapeMismatch,
    StatisticsError,
    TooFewPulls,
    TooFewTesters,
)
from results.statistics.groups import FloatArray


class NotTabulated(StatisticsError):
    """The double Grubbs test was asked for a number of values its table does not hold."""


@dataclass(frozen=True)
class SingleOutlier:
    """Largest distance from the mean in standard deviations; ``probability`` counts both sides."""

    index: int
    statistic: float
    probability: float


@dataclass(frozen=True)
class DoubleOutlier:
    """Sum of squares left without the two values, over the whole: small means they stand apart."""

    indices: tuple[int, int]
    statistic: float
    critical_5_percent: float
    critical_1_percent: float


@dataclass(frozen=True)
class LargestVariance:
    """The cell of greatest variance and Cochran's C, its share of the summed variances."""

    index: int
    statistic: float


@dataclass(frozen=True)
class LeastLikelyVariance:
    """The cell whose variance is least likely, its share of the squares about cell means."""

    index: int
    statistic: float
    probability: float


def _sample(values: ArrayLike, least: int) -> FloatArray:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1:
        raise ShapeMismatch(f"values come with shape {x.shape}, one row is needed")
    if not np.isfinite(x).all():
        raise NotFinite("a value is missing, not a number or infinite")
    if x.size < least:
        raise TooFewPulls(f"{x.size} values: this test needs at least {least}")
    if np.ptp(x) == 0:
        raise NoScatter("all values are the same, so none can stand apart")
    return x


def grubbs(values: ArrayLike) -> SingleOutlier:
    """Grubbs' test of the value farthest from the mean of values (n,), on either side."""
    x = _sample(values, 3)
    distance = np.abs(x - x.mean()) / x.std(ddof=1)
    index = int(distance.argmax())
    statistic = float(distance[index])
    return SingleOutlier(index, statistic, grubbs_probability(statistic, x.size))


def grubbs_probability(statistic: float, n: int) -> float:
    """Probability that the farthest of n normal values lies at least this many sd from the mean."""
    span = (n - 1.0) ** 2 - n * statistic**2
    if span <= 0:
        return 0.0
    t = np.sqrt(n * (n - 2.0) / span) * statistic
    return min(1.0, float(2.0 * n * student.sf(t, n - 2)))


def grubbs_critical(n: int, alpha: float) -> float:
    """Distance in sd that the farthest of n exceeds with probability ``alpha``, both sides.

    (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)), t the 1 - alpha/(2n) quantile on n - 2; for one side only,
    pass twice the alpha.
    """
    if n < 3:
        raise TooFewPulls(f"{n} values: Grubbs' test needs at least 3")
    t = float(student.ppf(1.0 - alpha / (2.0 * n), n - 2))
    return float((n - 1.0) / np.sqrt(n) * np.sqrt(t**2 / (n - 2.0 + t**2)))


def double_grubbs(values: ArrayLike) -> tuple[DoubleOutlier, DoubleOutlier]:
    """Grubbs' test of the two lowest and of the two highest of values (n,), n from 4 to 40.

    Critical values put 2.5 and 0.5 percent in each direction, as ISO 5725-2 does.  Raises
    `NotTabulated` above 40 values.
    """
    x = _sample(values, 4)
    if x.size not in DOUBLE_GRUBBS_CRITICAL:
        raise NotTabulated(f"{x.size} values: the double Grubbs test is tabulated from 4 to 40")
    order = np.argsort(x, kind="stable")
    return _double(x, order[:2]), _double(x, order[-2:])


def _double(x: FloatArray, pair: ArrayLike) -> DoubleOutlier:
    kept = np.delete(x, np.asarray(pair))
    statistic = float(((kept - kept.mean()) ** 2).sum() / ((x - x.mean()) ** 2).sum())
    first, second = (int(index) for index in np.asarray(pair))
    return DoubleOutlier((first, second), statistic, *DOUBLE_GRUBBS_CRITICAL[x.size])


def cochran(sds: ArrayLike) -> LargestVariance:
    """Cochran's C of p standard deviations (p,), to be held against `cochran_critical`."""
    variances = _sds(sds) ** 2
    index = int(variances.argmax())
    return LargestVariance(index, float(variances[index] / variances.sum()))


def cochran_unequal(sds: ArrayLike, sizes: ArrayLike) -> LeastLikelyVariance:
    """Cochran's test for p standard deviations (p,) from cells of unequal ``sizes`` (p,).

    The statistic is v_i s_i^2 / sum v_j s_j^2, v = n - 1, of the cell where it is least probable;
    with equal cells it is Cochran's C.
    """
    sd, freedom = _sds(sds), np.asarray(sizes, dtype=float) - 1.0
    if sd.shape != freedom.shape:
        raise ShapeMismatch(f"{sd.shape} standard deviations come with {freedom.shape} sizes")
    if (freedom < 1).any():
        raise TooFewPulls("Cochran's test needs two results or more in every cell")
    squares = freedom * sd**2
    share = squares / squares.sum()
    rest = freedom.sum() - freedom
    with np.errstate(divide="ignore"):
        ratio = (share / freedom) / ((1.0 - share) / rest)
    probability = sd.size * np.asarray(fisher.sf(ratio, freedom, rest), dtype=float)
    index = int(probability.argmin())
    return LeastLikelyVariance(index, float(share[index]), min(1.0, float(probability[index])))


def _sds(sds: ArrayLike) -> FloatArray:
    sd = np.asarray(sds, dtype=float)
    if sd.ndim != 1 or not np.isfinite(sd).all():
        raise NotFinite("a standard deviation is missing, not a number or infinite")
    if sd.size < 2:
        raise TooFewTesters(f"{sd.size} cell: Cochran's test needs at least 2")
    if (sd <= 0).all():
        raise NoScatter("no cell scatters, so none can scatter most")
    return sd


def cochran_critical(cells: int, results: int, alpha: float) -> float:
    """C that the greatest of ``cells`` variances of ``results`` values each exceeds, F/(F + p - 1).

    F is the 1 - alpha/p quantile on n - 1 and (p - 1)(n - 1) degrees of freedom.
    """
    if cells < 2 or results < 2:
        raise TooFewTesters(f"{cells} cells of {results}: at least 2 cells of 2 are needed")
    freedom = results - 1
    quantile = float(fisher.ppf(1.0 - alpha / cells, freedom, (cells - 1) * freedom))
    return quantile / (quantile + cells - 1)


@dataclass(frozen=True)
class ManyOutliers:
    """Rosner's test: arrays (m,) in the order of removal; the first ``outliers`` stand apart."""

    indices: tuple[int, ...]
    statistics: FloatArray
    critical: FloatArray
    outliers: int


def generalised_esd(values: ArrayLike, most: int, alpha: float = 0.05) -> ManyOutliers:
    """Rosner's test for up to ``most`` outliers among values (n,); meant for 25 values or more."""
    x = _sample(values, most + 3)
    left = np.arange(x.size)
    removed, statistics, critical = [], [], []
    for _ in range(most):
        distance = np.abs(x[left] - x[left].mean())
        scatter = float(x[left].std(ddof=1))
        if scatter == 0:
            break
        farthest = int(distance.argmax())
        removed.append(int(left[farthest]))
        statistics.append(float(distance[farthest]) / scatter)
        critical.append(grubbs_critical(left.size, alpha))
        left = np.delete(left, farthest)
    statistic, limit = np.array(statistics), np.array(critical)
    above = np.flatnonzero(statistic > limit)
    outliers = int(above[-1]) + 1 if above.size else 0
    return ManyOutliers(tuple(removed), statistic, limit, outliers)
