"""Efficiency on the log scale: the log ratio of two means and its sampling variance.

Sources: Hedges, Gurevitch & Curtis (1999), Ecology 80:1150-1156, eq. 1 (log response ratio);
Lajeunesse (2015), Ecology 96:2056-2063 (small-sample correction by the delta method);
Lajeunesse (2011), Ecology 92:2049-2055 (ratios that share one control);
Doncaster & Spake (2018), Methods in Ecology and Evolution 9:634-644, and Nakagawa et al. (2023),
Ecology Letters 26:232-244 (a coefficient of variation pooled over studies weighs better than each
study's own).

The relative variance of a mean is CV^2/n, or (standard error / mean)^2 where the mean comes from
a censored fit. That of the baseline is kept apart, because every set measured against the same
baseline shares it: the covariance of their log ratios is `shared_variance`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewPulls

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LogRatio:
    """Log ratios of k sets, natural log, with the two parts of their sampling variance, each (k,).

    The covariance of two sets of one baseline is that baseline's `shared_variance`; the variance
    of a set is `own_variance + shared_variance`.
    """

    y: Floats
    own_variance: Floats
    shared_variance: Floats


def relative_variance(coefficient_of_variation: ArrayLike, pulls: ArrayLike) -> Floats:
    """Squared relative standard error of a mean, CV^2/n; shapes broadcast.

    Raises NotPositive for a CV or a count that is zero or less, NotFinite for a missing one.
    """
    cv, n = _positive(coefficient_of_variation=coefficient_of_variation, pulls=pulls)
    return cv**2 / n


def pooled_coefficient_of_variation(
    coefficient_of_variation: ArrayLike, degrees_of_freedom: ArrayLike
) -> float:
    """Root of the mean squared CV of sets, weighted by their degrees of freedom.

    Sets with no degree of freedom (a single pull) carry no weight; their CV is not looked at.
    Raises TooFewPulls where no set has a degree of freedom.
    """
    df = np.atleast_1d(np.asarray(degrees_of_freedom, dtype=np.float64))
    cv = np.atleast_1d(np.asarray(coefficient_of_variation, dtype=np.float64))
    if cv.shape != df.shape:
        raise ShapeMismatch(f"{cv.size} coefficients of variation, {df.size} degrees of freedom")
    used = df > 0
    if not used.any():
        raise TooFewPulls("a pooled scatter needs a set of at least two pulls; there is none")
    if not np.isfinite(cv[used]).all() or not np.isfinite(df[used]).all():
        raise NotFinite("a coefficient of variation or its degrees of freedom is missing")
    pooled = float(np.sqrt(np.sum(df[used] * cv[used] ** 2) / np.sum(df[used])))
    if pooled == 0:
        raise NotPositive("every set has a scatter of zero; the resolution is its least value")
    return pooled


def log_ratio(
    mean_join: ArrayLike,
    mean_baseline: ArrayLike,
    relative_variance_join: ArrayLike,
    relative_variance_baseline: ArrayLike,
) -> LogRatio:
    """Plain log ratio ln(mean_join/mean_baseline) (Hedges, Gurevitch & Curtis 1999, eq. 1).

    Means in one and the same unit, shapes broadcast to (k,). Raises NotPositive, NotFinite.
    """
    join, baseline, a, b = _positive(
        mean_join=mean_join,
        mean_baseline=mean_baseline,
        relative_variance_join=relative_variance_join,
        relative_variance_baseline=relative_variance_baseline,
    )
    return LogRatio(np.log(join / baseline), a, b)


def corrected_log_ratio(
    mean_join: ArrayLike,
    mean_baseline: ArrayLike,
    relative_variance_join: ArrayLike,
    relative_variance_baseline: ArrayLike,
) -> LogRatio:
    """Log ratio with the small-sample correction of Lajeunesse (2015), the one that is pooled.

    With a and b the relative variances of the two means, y gains (a - b)/2 and its variance
    (a^2 + b^2)/2. The quadratic term of each mean stays with that mean: own variance a + a^2/2,
    shared variance b + b^2/2, so that their sum is Lajeunesse's variance and the covariance
    within a baseline is exactly what its sets have in common.
    """
    plain = log_ratio(mean_join, mean_baseline, relative_variance_join, relative_variance_baseline)
    a, b = plain.own_variance, plain.shared_variance
    return LogRatio(plain.y + (a - b) / 2, a + a**2 / 2, b + b**2 / 2)


def _positive(**named: ArrayLike) -> tuple[Floats, ...]:
    arrays = {name: np.asarray(values, dtype=np.float64) for name, values in named.items()}
    for name, values in arrays.items():
        if not np.isfinite(values).all():
            raise NotFinite(f"{name.replace('_', ' ')} is missing or not a number")
        if (values <= 0).any():
            raise NotPositive(f"{name.replace('_', ' ')} must be above zero")
    try:
        broadcast = np.broadcast_arrays(*(np.atleast_1d(values) for values in arrays.values()))
    except ValueError as error:
        raise ShapeMismatch(f"{', '.join(arrays)} do not describe the same sets") from error
    return tuple(np.array(values, dtype=np.float64) for values in broadcast)
