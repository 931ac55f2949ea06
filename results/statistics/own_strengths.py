"""What the join itself holds, set by set, where others of its pool tell how much it scatters.

Where most pulls part in the line, the few failures of one set show the low end of its join's
strengths alone, and neither how wide they scatter nor how far the rest lie above. So the scatter
has a prior: ln of it is normal about that of the pool's one-stage model, which has all pulls.
The level has Jeffreys' prior (1946, Proc. R. Soc. A 186:453-461), which for a censored location is
the root of the share of pulls expected to part at the join: far above the line that share is
small, so that a set in which the join never failed has a distribution too, and no set is left out
for having failed too seldom. Leaving those out is what made a set's figure low.

The figure is the median of the distribution, the interval its central 95 percent together with the
baseline's own error (Zou & Donner 2008, Statistics in Medicine 27:1693-1702). In simulated pools
of half of whose pulls part in the line (five pulls a set, testers from t on 4 degrees of freedom)
a mean of it over sets is off by -0.1 to -0.3 percent with lognormal and +0.7 to +1.0 with Weibull
joins, and the interval covers 96 to 97 percent (1,500 to 3,000 sets each, Monte Carlo error of the
bias 0.1); by the set alone, a half had no estimate, and the others were 2.3 percent low.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, log_ndtr

from results.statistics.censored import checked
from results.statistics.errors import NotEstimable, NotPositive, ShapeMismatch
from results.statistics.grids import quantiles_on_grid, where_dense
from results.statistics.quantiles import t_quantile

Floats = NDArray[np.float64]

SETS_DIFFER = 0.2
"""Standard deviation between sets of ln scatter: testers of one pool differ by about a fifth.
A judgement; with 0.25 and 0.4 in the data it covers 96 percent."""
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
LINE_NODES, LINE_WEIGHTS = np.polynomial.hermite_e.hermegauss(3)
POINTS = (16, 16, 40)
"""Levels tried, round by round; each keeps to where the density is more than nothing."""
AT_ONCE = 500
LARGEST_CV = 3.0
BEYOND, LEAST = 600.0, 1e-300  # exp() of more is beyond all numbers, and ln of less


@dataclass(frozen=True)
class Scatter:
    """A pool's scatter of single joins: its CV, the failures behind it, the share of Weibull."""

    cv: float
    failures: int
    weibull: float


@dataclass(frozen=True)
class Straight:
    """Straight line behind each set, (k,) each: mean load, CV, relative error and its df."""

    mean_N: ArrayLike
    cv: ArrayLike
    error: ArrayLike
    degrees_of_freedom: ArrayLike


@dataclass(frozen=True)
class OwnStrengths:
    """ln of the mean load of the join itself over straight line, (k,), and its interval."""

    log_efficiency: Floats
    low: Floats
    high: Floats
    failures: NDArray[np.int64]


@dataclass(frozen=True)
class _Sets:
    """ln loads over straight line of k sets whose pulls (n,) lie together, and the line's sd of ln.

    `bound` (c,) are those that are only 'at least'; `number`, `mean` and `squares` (k,) are of the
    exact ones; `top` is the highest of either kind.
    """

    y: Floats
    starts: NDArray[np.intp]
    bound: Floats
    bound_starts: NDArray[np.intp]
    bounded: NDArray[np.bool_]
    number: Floats
    mean: Floats
    squares: Floats
    top: Floats
    line_sd: Floats


def own_strengths(
    loads_N: ArrayLike, exact: ArrayLike, group: ArrayLike, straight: Straight, scatter: Scatter
) -> OwnStrengths:
    """Of k sets, from joined pulls (n,): loads, whether the join parted, and the set, 0 to k - 1.

    Raises ShapeMismatch, NotFinite, NotPositive, and NotEstimable where the scatter isn't known or
    so wide that no mean is a number.
    """
    load, failed = checked(loads_N, exact)
    group_of = np.asarray(group, dtype=np.intp)
    mean, cv, error, freedom = (
        np.asarray(each, dtype=np.float64)
        for each in (straight.mean_N, straight.cv, straight.error, straight.degrees_of_freedom)
    )
    k = mean.size
    if group_of.shape != load.shape or not np.array_equal(np.unique(group_of), np.arange(k)):
        raise ShapeMismatch(f"{load.size} pulls name other sets than the {k} there are")
    if not ((mean > 0).all() and (cv >= 0).all() and (error >= 0).all()):
        raise NotPositive("straight line has no strength or no scatter")
    spread = _spread(scatter)
    order = np.argsort(group_of, kind="stable")
    y, failed, row = np.log(load / mean[group_of])[order], failed[order], group_of[order]
    line_sd = np.sqrt(np.log1p(cv**2))
    found = np.empty((k, 3))
    for start in range(0, k, AT_ONCE):
        some = slice(*np.searchsorted(row, (start, start + AT_ONCE)))
        of_sets = line_sd[start : start + AT_ONCE]
        found[start : start + AT_ONCE] = _quantiles(
            _sets(y[some], failed[some], row[some] - start, of_sets), scatter, spread
        )
    low, middle, high = found.T
    reach = np.asarray(t_quantile(0.975, np.maximum(freedom, 1.0))) * error
    below, above = np.hypot(middle - low, reach), np.hypot(high - middle, reach)
    if not (np.isfinite(below).all() and np.isfinite(above).all()):
        raise NotEstimable("the pulls' loads are too far apart for a mean")
    failures = np.bincount(row, failed, minlength=k).astype(np.int64)
    return OwnStrengths(middle, middle - below, middle + above, failures)


def _spread(scatter: Scatter) -> float:
    """Standard deviation of ln scatter of a set about the pool's estimate."""
    if not 0 < scatter.cv < LARGEST_CV or scatter.failures < 1:
        raise NotEstimable("how much the join scatters is not known from its pool")
    return float(np.hypot(SETS_DIFFER, 1 / np.sqrt(2.0 * scatter.failures)))


def _sets(y: Floats, failed: NDArray[np.bool_], row: NDArray[np.intp], line_sd: Floats) -> _Sets:
    k = line_sd.size
    starts = np.searchsorted(row, np.arange(k))
    number = np.bincount(row, failed, minlength=k)
    mean = np.bincount(row, np.where(failed, y, 0.0), minlength=k) / np.maximum(number, 1)
    squares = np.bincount(row, np.where(failed, (y - mean[row]) ** 2, 0.0), minlength=k)
    of_bound = row[~failed]
    bounded = np.bincount(of_bound, minlength=k) > 0
    bound_starts = np.searchsorted(of_bound, np.flatnonzero(bounded))
    top = np.maximum.reduceat(y, starts)
    return _Sets(
        y=y,
        starts=starts,
        bound=y[~failed],
        bound_starts=bound_starts,
        bounded=bounded,
        number=number.astype(np.float64),
        mean=mean,
        squares=squares.astype(np.float64),
        top=top,
        line_sd=line_sd,
    )


def _quantiles(sets: _Sets, scatter: Scatter, spread: float) -> Floats:
    """2.5, 50 and 97.5 percent points of ln mean strength, (k, 3), over scatter and family."""
    at, density = _density(sets, scatter, spread)
    return quantiles_on_grid(at, density, (0.025, 0.5, 0.975))


def _density(sets: _Sets, scatter: Scatter, spread: float) -> tuple[Floats, Floats]:
    """Levels (k, m) of ln mean strength and how dense each is, on a grid that closes in."""
    sd = float(np.sqrt(np.log1p(scatter.cv**2)))
    scales = sd * np.exp(spread * NODES)
    weight = WEIGHTS / WEIGHTS.sum()
    pulls = np.diff(np.append(sets.starts, sets.y.size))
    low = np.add.reduceat(sets.y, sets.starts) / pulls - 8 * scales[-1]
    high = np.maximum(sets.top, 0.0) + 12 * scales[-1]
    shares = ((1 - scatter.weibull, _lognormal), (scatter.weibull, _weibull))
    for points in POINTS:
        at = low[:, None] + np.linspace(0, 1, points) * (high - low)[:, None]
        density = np.zeros_like(at)
        for share, family in shares:
            if share > 0:
                each = np.stack([family(sets, at, scale) for scale in scales])
                of_family = np.einsum(
                    "g,gkm->km", weight, np.exp(each - each.max(axis=(0, 2))[:, None])
                )
                density += share * of_family / of_family.sum(axis=1, keepdims=True)
        low, high = where_dense(at, density)
    return at, density


def _lognormal(sets: _Sets, at: Floats, scale: float) -> Floats:
    """ln density of ln mean strength `at` (k, m) for pulls whose ln scatters with sd `scale`."""
    level = at - scale**2 / 2
    around = sets.squares[:, None] + sets.number[:, None] * (sets.mean[:, None] - level) ** 2
    found = -around / (2 * scale**2) - sets.number[:, None] * np.log(scale)
    if sets.bound.size:
        row = np.repeat(
            np.flatnonzero(sets.bounded), np.diff(np.append(sets.bound_starts, sets.bound.size))
        )
        outlasting = log_ndtr((level[row] - sets.bound[:, None]) / scale)
        found[sets.bounded] += np.add.reduceat(outlasting, sets.bound_starts, axis=0)
    line_sd = sets.line_sd[:, None]
    parting = log_ndtr((-(line_sd**2) / 2 - level) / np.hypot(scale, line_sd))
    return np.asarray(found + parting / 2)


def _weibull(sets: _Sets, at: Floats, normal_scale: float) -> Floats:
    """As `_lognormal`, for Weibull pulls whose ln scatters with the same sd."""
    scale = normal_scale * np.sqrt(6.0) / np.pi
    level = at - gammaln(1 + scale)
    pulls = np.diff(np.append(sets.starts, sets.y.size))
    whole = np.add.reduceat(np.exp((sets.y - np.repeat(sets.top, pulls)) / scale), sets.starts)
    grown = whole[:, None] * _exp((sets.top[:, None] - level) / scale)
    found = sets.number[:, None] * ((sets.mean[:, None] - level) / scale - np.log(scale)) - grown
    parting = np.zeros_like(at)
    for node, weight in zip(LINE_NODES, LINE_WEIGHTS / LINE_WEIGHTS.sum(), strict=True):
        line = sets.line_sd * node - sets.line_sd**2 / 2
        parting -= weight * np.expm1(-_exp((line[:, None] - level) / scale))
    return np.asarray(found + np.log(np.maximum(parting, LEAST)) / 2)


def _exp(power: Floats) -> Floats:
    return np.asarray(np.exp(np.minimum(power, BEYOND)))
