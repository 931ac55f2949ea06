"""Right-censored maximum likelihood for a strength, when some loads are only 'at least'.

Vocabulary.  A load is *failed* when what is measured gave way at it, and *censored* (at least) when
something else gave way first.  The three families are location and scale families, with z = (y -
location)/scale: normal (y the load), lognormal (y = ln load) and Weibull (y = ln load, z smallest
extreme value).  The likelihood is sum over failed of ln f + sum over censored of ln S (Meeker &
Escobar 1998, Statistical Methods for Reliability Data, ch. 8).

It is maximised in (intercept a, slope b) with z = b y - a, by `censored_newton`.  Estimates agree
with R's survival 3.5.3 to 1e-9 relative on the sets in the tests.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.censored_newton import Family, maxima, normal, sums, terms_of
from results.statistics.censored_sets import LEAST_FAILURES, Sets
from results.statistics.errors import (
    NoConvergence,
    NoScatter,
    NotEstimable,
    NotFinite,
    NotPositive,
    ShapeMismatch,
    StatisticsError,
    TooFewPulls,
)
from results.statistics.roots import root_between, root_beyond

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Rows = NDArray[np.intp]

ALIKE = "all failures are at one load, so their scatter cannot be estimated"
NO_MAXIMUM = "the censored likelihood did not reach its maximum in 100 steps"


COARSEST = 10.0  # resolution's sd over the load; exp(floor^2/2) soon is beyond all numbers
TOO_WIDE = "the loads scatter so widely that their mean is beyond all numbers"


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
        raise NoScatter(ALIKE)
    return _maximum(y, flag, family)


def _need_failures(failed: BoolArray) -> None:
    if failed.sum() < LEAST_FAILURES:
        raise TooFewFailures(
            f"{int(failed.sum())} of {failed.size} loads are exact and the rest 'at least': "
            f"{LEAST_FAILURES} exact loads are needed for an estimate"
        )


def _maximum(y: FloatArray, failed: BoolArray, family: Family) -> CensoredFit:
    fitted = _fits(y, failed, np.zeros(1, dtype=np.intp), family)
    if not fitted.found[0]:
        raise NoConvergence(NO_MAXIMUM)
    covariance = fitted.covariance[0]
    return CensoredFit(
        family, float(fitted.location[0]), float(fitted.scale[0]), covariance, y, failed
    )


@dataclass(frozen=True)
class _Fits:
    """Location and scale of g groups, each (g,), their covariance (g, 2, 2), and which it found."""

    location: FloatArray
    scale: FloatArray
    covariance: FloatArray
    found: BoolArray


def _fits(y: FloatArray, failed: BoolArray, starts: Rows, family: Family) -> _Fits:
    """Newton in (a, b) on standardised y, then back to location and scale and their covariance.

    The last two by the delta method from location = centre + spread a/b, ln scale = -ln b + const.
    """
    sizes = np.diff(np.append(starts, y.size))
    centre = sums(y, starts) / sizes
    off_centre = y - np.repeat(centre, sizes)
    spread = np.sqrt(sums(off_centre**2, starts) / sizes)
    top = maxima(off_centre / np.repeat(spread, sizes), failed, starts, terms_of(family))
    a, b, determinant = top.a, top.b, top.aa * top.bb - top.ab**2
    var_a, cov_ab, var_b = top.bb / determinant, -top.ab / determinant, top.aa / determinant
    by_a, by_b = spread / b, -spread * a / b**2
    covariance = np.empty((starts.size, 2, 2))
    covariance[:, 0, 0] = by_a**2 * var_a + 2 * by_a * by_b * cov_ab + by_b**2 * var_b
    covariance[:, 0, 1] = covariance[:, 1, 0] = -(by_a * cov_ab + by_b * var_b) / b
    covariance[:, 1, 1] = var_b / b**2
    return _Fits(centre + spread * a / b, spread / b, covariance, top.found)


def location_at_scale(y: FloatArray, failed: BoolArray, family: Family, scale: float) -> float:
    """The location of most likelihood when the scale is given, in the unit of y.

    Raises NoConvergence.
    """
    terms = terms_of(family)

    def score(location: float) -> float:
        _, slope, _ = terms((y - location) / scale, failed)
        return -float(slope.sum())

    # Below the lowest load every term rises; beyond the highest only those of outlasted loads do.
    low, high = float(y.min()) - scale, float(y.max()) + scale
    if score(high) <= 0 <= score(low):
        return root_between(score, low, high)
    return root_beyond(score, low, high - low)


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
    (found,) = strengths(load, ~failed, [load.size], [resolution_N])
    if isinstance(found, StatisticsError):
        raise found
    return found


def strengths(
    loads_N: ArrayLike, at_least: ArrayLike, sizes: ArrayLike, resolution_N: ArrayLike
) -> list[Strength | StatisticsError]:
    """The strength of each of g sets, or the error that `strength` raises for it.

    Loads and flags (n,) lie together by set, ``sizes`` (g,) counts those of each; ``resolution_N``
    is (g,).  What a set comes to is the same to the last digit whichever others come with it.
    """
    load = np.asarray(loads_N, dtype=float)
    failed = ~np.asarray(at_least, dtype=bool)
    sets = Sets(load, failed, np.asarray(sizes, dtype=np.intp))
    floor_N = np.asarray(resolution_N, dtype=float) / np.sqrt(12.0)
    found: list[Strength | StatisticsError | None] = [None] * sets.sizes.size
    whole, some = sets.whole, sets.censored
    for place, one in zip(
        np.flatnonzero(whole).tolist(),
        _sample_strengths(sets.only(whole), floor_N[whole]),
        strict=True,
    ):
        found[place] = one
    for place, one in zip(
        np.flatnonzero(some).tolist(),
        _censored_strengths(sets.only(some), floor_N[some]),
        strict=True,
    ):
        found[place] = one
    return [
        _why_none(*sets.rows_of(place)) if one is None else one for place, one in enumerate(found)
    ]


def _why_none(load: FloatArray, failed: BoolArray) -> StatisticsError:
    """What forbids a strength of these loads."""
    try:
        checked(load, failed)
        if load.size >= 2:
            _need_failures(failed)
    except StatisticsError as error:
        return error
    return TooFewPulls(f"{load.size} pull: at least 2 are needed for a mean with its scatter")


def _sample_strengths(sets: Sets, floor_N: FloatArray) -> Iterator[Strength | StatisticsError]:
    if not sets.sizes.size:
        return
    mean = sums(sets.load, sets.starts) / sets.sizes
    square = sums((sets.load - sets.each(mean)) ** 2, sets.starts)
    sd = np.maximum(np.sqrt(square / (sets.sizes - 1)), floor_N)
    answer = (column.tolist() for column in (sets.sizes, mean, sd, sd / mean, sd <= 1e-12 * mean))
    for n, mean_N, sd_N, cv, alike in zip(*answer, strict=True):
        if alike:
            yield NoScatter(f"all {n} loads are {mean_N:g} N and no resolution is given")
        else:
            yield Strength(n, n, mean_N, sd_N, cv, float(n), n - 1.0, False, "sample")


def _censored_strengths(sets: Sets, floor_N: FloatArray) -> Iterator[Strength | StatisticsError]:
    """The lognormal fits' means and CVs; the least scale of ln load is that of the resolution."""
    if not sets.sizes.size:
        return
    floor = floor_N * sets.failures / sums(np.where(sets.failed, sets.load, 0.0), sets.starts)
    scattered = _scattered(sets)
    fitted = iter(_fitted_strengths(sets.only(scattered), floor[scattered]))
    for place, scatters in enumerate(scattered.tolist()):
        one = next(fitted) if scatters else NoScatter(ALIKE)
        if one is None or (isinstance(one, NoScatter) and floor[place] > 0):
            yield _strength_at_floor(*sets.rows_of(place), float(floor[place]))
        else:
            yield one


def _scattered(sets: Sets) -> BoolArray:
    """Where the likelihood has a maximum: failures that differ, or a load that outlasted them."""
    y = np.log(sets.load)
    highest = np.maximum.reduceat(np.where(sets.failed, y, -np.inf), sets.starts)
    lowest = np.minimum.reduceat(np.where(sets.failed, y, np.inf), sets.starts)
    beyond = np.maximum.reduceat(np.where(sets.failed, -np.inf, y), sets.starts)
    found: BoolArray = (highest > lowest) | (beyond > highest)
    return found


def _fitted_strengths(sets: Sets, floor: FloatArray) -> Iterator[Strength | StatisticsError | None]:
    """None where the scale falls below its floor."""
    if not sets.sizes.size:
        return
    fitted = _fits(np.log(sets.load), sets.failed, sets.starts, "lognormal")
    scale2, covariance = fitted.scale**2, fitted.covariance
    freedom = np.maximum(0.5 / covariance[:, 1, 1] - 1.0, 1.0)
    of_mean = (
        covariance[:, 0, 0] + 2 * scale2 * covariance[:, 0, 1] + scale2**2 * covariance[:, 1, 1]
    )
    variance = scale2 * sets.sizes / (sets.sizes - 1.0)
    mean, cv = np.exp(fitted.location + variance / 2.0), np.sqrt(np.expm1(variance))
    columns = (mean, mean * cv, cv, np.expm1(scale2) / of_mean, freedom)
    low, n, failures = fitted.scale < floor, sets.sizes.tolist(), sets.failures.tolist()
    for place, (mean_N, sd_N, of_mean_N, worth, d) in enumerate(np.stack(columns).T.tolist()):
        if not fitted.found[place]:
            yield NoConvergence(NO_MAXIMUM)
        elif not np.isfinite((mean_N, sd_N, of_mean_N, worth, d)).all():
            yield NotEstimable(TOO_WIDE)
        elif low[place]:
            yield None
        else:
            yield Strength(
                n[place],
                failures[place],
                mean_N,
                sd_N,
                of_mean_N,
                worth,
                d,
                True,
                "censored lognormal",
            )


def _strength_at_floor(
    load: FloatArray, failed: BoolArray, floor: float
) -> Strength | StatisticsError:
    """Failures too equal to show a scatter: the scale is held at the resolution's."""
    if floor > COARSEST:
        return NotEstimable(TOO_WIDE)
    y = np.log(load)
    location = location_at_scale(y, failed, "lognormal", floor)
    _, _, curvature = normal((y - location) / floor, failed)
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
