"""Right-censored maximum likelihood for a strength, when some loads are only 'at least'.

Vocabulary.  A load is *failed* when what is measured gave way at it, and *censored* (at least) when
something else gave way first.  The three families are location and scale families, with z = (y -
location)/scale: normal (y the load), lognormal (y = ln load) and Weibull (y = ln load, z smallest
extreme value).  The likelihood is sum over failed of ln f + sum over censored of ln S (Meeker &
Escobar 1998, Statistical Methods for Reliability Data, ch. 8).

It is maximised in (intercept a, slope b) with z = b y - a: there it is concave for these families
(Burridge 1981, JRSS B 43:41), so that Newton steps with halving reach the one maximum from
anywhere.  Estimates agree with R's survival 3.5.3 to 1e-9 relative on the sets in the tests.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import log_ndtr

from results.statistics.errors import (
    NoConvergence,
    NoScatter,
    NotFinite,
    NotPositive,
    ShapeMismatch,
    TooFewPulls,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Family = Literal["normal", "lognormal", "weibull"]

LEAST_FAILURES = 3
"""Below this many failures no location and scale are estimated; common practice, no source."""

LOG_SQRT_2PI = 0.5 * np.log(2.0 * np.pi)


class TooFewFailures(TooFewPulls):
    """Too many of the loads are only 'at least' for a strength to be estimated."""


@dataclass(frozen=True)
class CensoredFit:
    """A fitted family; ``covariance`` is of (location, ln scale), from the observed information.

    ``location`` and ``scale`` are of ``y``, which is the load for ``normal``, its logarithm
    otherwise; ``loglik`` is of the loads themselves, so that families compare.
    """

    family: Family
    location: float
    scale: float
    covariance: FloatArray
    y: FloatArray
    failed: BoolArray

    @property
    def failures(self) -> int:
        return int(self.failed.sum())

    @property
    def loglik(self) -> float:
        return self.loglik_at(self.location, self.scale)

    def loglik_at(self, location: float, scale: float) -> float:
        """Log-likelihood of the loads at other values; where y is ln load, less the sum of y."""
        value, _, _ = terms_of(self.family)((self.y - location) / scale, self.failed)
        of_load = 0.0 if self.family == "normal" else float(self.y[self.failed].sum())
        return float(value.sum()) - self.failures * float(np.log(scale)) - of_load


Terms = tuple[FloatArray, FloatArray, FloatArray]


def _normal(z: FloatArray, failed: BoolArray) -> Terms:
    """Each row's log density or log survival, with its first and second derivative in z."""
    survival = log_ndtr(-z)
    hazard = np.exp(-0.5 * z * z - LOG_SQRT_2PI - survival)
    value = np.where(failed, -0.5 * z * z - LOG_SQRT_2PI, survival)
    slope = np.where(failed, -z, -hazard)
    curvature = np.where(failed, -1.0, -hazard * (hazard - z))
    return value, slope, curvature


def _smallest_extreme_value(z: FloatArray, failed: BoolArray) -> Terms:
    """As `_normal`, for the log of a Weibull strength."""
    with np.errstate(over="ignore"):
        grown = np.exp(z)
    return np.where(failed, z - grown, -grown), np.where(failed, 1.0 - grown, -grown), -grown


def terms_of(family: Family) -> Callable[[FloatArray, BoolArray], Terms]:
    """Value, first and second derivative in z of each row's log-likelihood, less ln scale."""
    return _smallest_extreme_value if family == "weibull" else _normal


def checked(loads: ArrayLike, failed: ArrayLike) -> tuple[FloatArray, BoolArray]:
    """Loads (n,) and flags (n,) as arrays; raises `ShapeMismatch`, `NotFinite`, `NotPositive`."""
    load = np.asarray(loads, dtype=float)
    flag = np.asarray(failed, dtype=bool)
    if load.ndim != 1 or load.shape != flag.shape:
        raise ShapeMismatch(f"{load.shape} loads come with {flag.shape} flags")
    if not np.isfinite(load).all():
        raise NotFinite(f"load {int(np.flatnonzero(~np.isfinite(load))[0])} is not a finite number")
    if (load <= 0).any():
        raise NotPositive(f"load {int(np.flatnonzero(load <= 0)[0])} is not above zero")
    return load, flag


def fit(loads: ArrayLike, failed: ArrayLike, family: Family) -> CensoredFit:
    """Maximum likelihood of ``family`` from loads (n,), exact where ``failed`` (n,), else at least.

    Raises `TooFewFailures` below three failures, `NoScatter` where the failures are all equal and
    no load outlasted them (the likelihood then has no maximum).
    """
    load, flag = checked(loads, failed)
    _need_failures(flag)
    y = load if family == "normal" else np.log(load)
    highest_failure = y[flag].max()
    if highest_failure == y[flag].min() and not (y[~flag] > highest_failure).any():
        raise NoScatter("all failures are at one load, so their scatter cannot be estimated")
    return _maximum(y, flag, family)


def _need_failures(failed: BoolArray) -> None:
    if failed.sum() < LEAST_FAILURES:
        raise TooFewFailures(
            f"{int(failed.sum())} of {failed.size} loads are exact and the rest 'at least': "
            f"{LEAST_FAILURES} exact loads are needed for an estimate"
        )


def _maximum(y: FloatArray, failed: BoolArray, family: Family) -> CensoredFit:
    """Newton in (a, b) on standardised y, then back to location and scale."""
    centre, spread = float(y.mean()), float(y.std())
    a, b, information = _newton((y - centre) / spread, failed, terms_of(family))
    location, scale = centre + spread * a / b, spread / b
    jacobian = np.array([[spread / b, -spread * a / b**2], [0.0, -1.0 / b]])
    covariance = jacobian @ np.linalg.inv(information) @ jacobian.T
    return CensoredFit(family, location, scale, covariance, y, failed)


def _newton(
    y: FloatArray, failed: BoolArray, terms: Callable[[FloatArray, BoolArray], Terms]
) -> tuple[float, float, FloatArray]:
    """(a, b) at the maximum, and the observed information (2, 2) there."""
    failures = float(failed.sum())
    a, b = 0.0, 1.0
    value, slope, curvature = terms(b * y - a, failed)
    level = value.sum() + failures * np.log(b)
    for _ in range(100):
        gradient = np.array([-slope.sum(), slope @ y + failures / b])
        cross = curvature @ y
        information = np.array(
            [[-curvature.sum(), cross], [cross, failures / b**2 - curvature @ (y * y)]]
        )
        step = np.linalg.solve(information, gradient)
        gain = float(gradient @ step)
        shrink = 1.0
        while True:
            next_a, next_b = a + shrink * step[0], b + shrink * step[1]
            if next_b > 0:
                value, slope, curvature = terms(next_b * y - next_a, failed)
                next_level = value.sum() + failures * np.log(next_b)
                if next_level >= level + 1e-4 * shrink * gain or gain < 1e-12:
                    break
            shrink /= 2.0
        a, b, level = float(next_a), float(next_b), next_level
        if gain < 1e-20:
            return a, b, information
    raise NoConvergence("the censored likelihood did not reach its maximum in 100 steps")


def location_at_scale(y: FloatArray, failed: BoolArray, family: Family, scale: float) -> float:
    """The location of most likelihood when the scale is given, in the unit of y."""
    terms = terms_of(family)

    def score(location: float) -> float:
        _, slope, _ = terms((y - location) / scale, failed)
        return -float(slope.sum())

    low, high = float(y.min()) - scale, float(y.max()) + scale
    while score(high) > 0:
        high += high - low
    while score(low) < 0:
        low -= high - low
    return float(brentq(score, low, high, xtol=1e-14 * max(1.0, abs(high)), rtol=1e-14))


@dataclass(frozen=True)
class Strength:
    """Mean strength of one set of pulls in newtons, with its scatter.

    The variance of ln(mean) is ``cv**2 / n_effective``; with nothing censored that is the sample's
    own mean, standard deviation and n.  ``degrees_of_freedom`` belongs to ``sd_N`` and ``cv``.
    """

    n: int
    failures: int
    mean_N: float
    sd_N: float
    cv: float
    n_effective: float
    degrees_of_freedom: float
    censored: bool
    method: Literal["sample", "censored lognormal", "censored lognormal, scatter at resolution"]


def strength(loads_N: ArrayLike, at_least: ArrayLike, resolution_N: float = 0.0) -> Strength:
    """Mean and scatter of loads (n,) in newtons, some of them (n,) only 'at least'.

    Where a load is censored, both come from the lognormal fit: mean exp(m + s^2/2), CV
    sqrt(exp(s^2) - 1), and n_effective from the observed information by the delta method.  s^2 is
    the maximum likelihood one times n/(n - 1), as in a whole sample; simulated with 4 or 5 in 10
    loads censored its mean is then 0.90 times the truth at 5 pulls, 1.00 to 1.04 from 8 to 50.
    Degrees of freedom d are those that the information on ln s is worth, var(ln s) = 1/(2(d + 1)).
    A standard deviation never falls below that of rounding to ``resolution_N``,
    resolution/sqrt(12) (GUM 2008, F.2.2.1).

    Raises `TooFewPulls` below two pulls, `TooFewFailures` where loads are censored and fewer than
    three are exact, `NoScatter` for equal loads without a resolution, and what `checked` raises.
    """
    load, failed = checked(loads_N, ~np.asarray(at_least, dtype=bool))
    if load.size < 2:
        raise TooFewPulls(f"{load.size} pull: at least 2 are needed for a mean with its scatter")
    floor_N = resolution_N / np.sqrt(12.0)
    if failed.all():
        return _sample_strength(load, floor_N)
    _need_failures(failed)
    return _censored_strength(load, failed, floor_N / float(load[failed].mean()))


def _sample_strength(load: FloatArray, floor_N: float) -> Strength:
    mean = float(load.mean())
    sd = max(float(load.std(ddof=1)), floor_N)
    if sd <= 1e-12 * mean:
        raise NoScatter(f"all {load.size} loads are {mean:g} N and no resolution is given")
    n = load.size
    return Strength(n, n, mean, sd, sd / mean, float(n), n - 1.0, False, "sample")


def _censored_strength(load: FloatArray, failed: BoolArray, floor: float) -> Strength:
    """The lognormal fit's mean and CV; ``floor`` is the least scale of ln load."""
    try:
        fitted = fit(load, failed, "lognormal")
    except NoScatter:
        if floor <= 0:
            raise
        return _strength_at_floor(load, failed, floor)
    if fitted.scale < floor:
        return _strength_at_floor(load, failed, floor)
    freedom = max(0.5 / fitted.covariance[1, 1] - 1.0, 1.0)
    gradient = np.array([1.0, fitted.scale**2])
    worth = np.expm1(fitted.scale**2) / float(gradient @ fitted.covariance @ gradient)
    variance = fitted.scale**2 * load.size / (load.size - 1.0)
    mean, cv = np.exp(fitted.location + variance / 2.0), np.sqrt(np.expm1(variance))
    return Strength(
        load.size,
        fitted.failures,
        float(mean),
        float(mean * cv),
        float(cv),
        float(worth),
        float(freedom),
        True,
        "censored lognormal",
    )


def _strength_at_floor(load: FloatArray, failed: BoolArray, floor: float) -> Strength:
    """Failures too equal to show a scatter: the scale is held at the resolution's."""
    y = np.log(load)
    location = location_at_scale(y, failed, "lognormal", floor)
    _, _, curvature = _normal((y - location) / floor, failed)
    mean, cv = np.exp(location + floor**2 / 2.0), np.sqrt(np.expm1(floor**2))
    failures = int(failed.sum())
    return Strength(
        load.size,
        failures,
        float(mean),
        float(mean * cv),
        float(cv),
        float(-curvature.sum()),
        failures - 1.0,
        True,
        "censored lognormal, scatter at resolution",
    )
