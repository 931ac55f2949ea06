"""What a rig's session means scatter by from day to day, shrunk to that of all rigs.

A session's log mean varies by its pulls' own scatter, CV^2/n, and by what a line differs by from
day to day. How much more or less than usual a rig's sessions vary is one factor of the two
together. It is taken from differences between successive sessions (von Neumann, Kent, Bellinson &
Hart 1941, Ann. Math. Stat. 12:153), which a step of the rig inflates once only and a trend hardly;
m of them are worth 2 m^2/(3 m - 1) degrees of freedom. Few sessions estimate it poorly, so it is
shrunk to all rigs by an inverse-gamma prior, scaled chi-square with its own degrees of freedom,
fitted by the moments of log factors (Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3:3, section 6.2).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import polygamma, psi

from rigs.metrology.errors import (
    NoScatter,
    NotFinite,
    NotPositive,
    TooFewValues,
    UnequalLengths,
)

DAY_TO_DAY_CV = 0.01
"""What one line's mean usually differs by from day to day on an unchanged rig; common practice,
no source."""
LEAST_RIGS = 20
"""Rigs that a prior can be fitted to; fewer don't show how rigs differ."""
MOST_FREEDOM = 100.0
"""Degrees of freedom of a prior at most: rigs are never known to be all alike."""
LEAST_SHARE = 1e-5
"""Of the median factor, below which one counts as that much; its logarithm would outweigh all."""
NEWTON_STEPS = 50


@dataclass(frozen=True)
class Scatter:
    """Variance of session means over the usual one, and the degrees of freedom behind it."""

    factor: float
    degrees_of_freedom: float


USUAL = Scatter(1.0, 6.0)
"""The prior while there are too few rigs to fit one: a factor of 0.4 to 5 for 19 rigs in 20; common
practice, no source."""


def usual_variances(cv: ArrayLike, n: ArrayLike) -> NDArray[np.float64]:
    """Variance of k log means, usually: CV^2/n at the CV pooled over the sessions, and days'."""
    cvs, counts = np.asarray(cv, float).ravel(), np.asarray(n, float).ravel()
    pooled = float((counts - 1) @ cvs**2) / float((counts - 1).sum())
    return np.asarray(pooled / counts + DAY_TO_DAY_CV**2)


def check_sessions(mean_N: ArrayLike, cv: ArrayLike, n: ArrayLike) -> None:
    """Refuse k sessions, in order of time, that have nothing to be charted.

    Raises UnequalLengths, TooFewValues (fewer than two sessions, or two pulls in one), NotFinite,
    NotPositive (a mean) and NoScatter.
    """
    means, cvs, counts = (np.asarray(column, float).ravel() for column in (mean_N, cv, n))
    if not means.size == cvs.size == counts.size:
        raise UnequalLengths(f"{means.size} means, {cvs.size} cvs, {counts.size} counts")
    if means.size < 2 or (counts < 2).any():
        raise TooFewValues("expected at least two sessions of at least two straight pulls each")
    if not (np.isfinite(means).all() and np.isfinite(cvs).all() and np.isfinite(counts).all()):
        raise NotFinite("a mean, cv or count is not a finite number")
    if (means <= 0).any() or (cvs < 0).any():
        raise NotPositive("every mean load must be above zero and no cv below")
    if not (cvs > 0).any():
        raise NoScatter("all pulls of each session are alike: a finer resolution is needed")


def successive_factors(mean_N: ArrayLike, cv: ArrayLike, n: ArrayLike) -> NDArray[np.float64]:
    """Of k sessions in order of time the k - 1 squared differences, over their usual variances.

    Raises as `check_sessions`.
    """
    check_sessions(mean_N, cv, n)
    variances = usual_variances(cv, n)
    steps = np.diff(np.log(np.asarray(mean_N, float).ravel()))
    return np.asarray(steps**2 / (variances[1:] + variances[:-1]))


def observed(factors: ArrayLike) -> Scatter:
    """A rig's own scatter from the m factors of its successive sessions.

    Raises TooFewValues for none, and NotFinite.
    """
    each = np.asarray(factors, float).ravel()
    if not each.size:
        raise TooFewValues("found no session after the first, expected one at least")
    if not np.isfinite(each).all():
        raise NotFinite("a factor is not a finite number")
    return Scatter(float(each.mean()), 2 * each.size**2 / (3 * each.size - 1))


def fit_prior(factors: ArrayLike, degrees_of_freedom: ArrayLike) -> Scatter:
    """The prior of rigs by their own factors and degrees of freedom, both (rigs,).

    Raises TooFewValues for fewer than twenty rigs, UnequalLengths, NotFinite, NotPositive (degrees
    of freedom, a factor below zero) and NoScatter where the median factor is zero.
    """
    found, freedom = (
        np.asarray(factors, float).ravel(),
        np.asarray(degrees_of_freedom, float).ravel(),
    )
    if found.size != freedom.size:
        raise UnequalLengths(f"{found.size} factors, {freedom.size} degrees of freedom")
    if found.size < LEAST_RIGS:
        raise TooFewValues(f"found {found.size} rigs, expected at least {LEAST_RIGS}")
    if not (np.isfinite(found).all() and np.isfinite(freedom).all()):
        raise NotFinite("a factor or degree of freedom is not a finite number")
    if (found < 0).any() or (freedom <= 0).any():
        raise NotPositive("no factor may be below zero, and degrees of freedom must be above")
    median = float(np.median(found))
    if median == 0:
        raise NoScatter("half of the rigs and more have sessions all alike")
    logs = np.log(np.maximum(found, LEAST_SHARE * median))
    logs -= psi(freedom / 2) - np.log(freedom / 2)
    between = float(logs.var(ddof=1) - polygamma(1, freedom / 2).mean())
    own = min(2 * _trigamma_inverse(between), MOST_FREEDOM) if between > 0 else MOST_FREEDOM
    return Scatter(float(np.exp(logs.mean() + psi(own / 2) - np.log(own / 2))), own)


def shrunk(own: Scatter | None, prior: Scatter) -> Scatter:
    """A rig's scatter by its own sessions, None where it has too few, and the prior of all rigs."""
    if own is None:
        return prior
    freedom = prior.degrees_of_freedom + own.degrees_of_freedom
    return Scatter(
        (prior.degrees_of_freedom * prior.factor + own.degrees_of_freedom * own.factor) / freedom,
        freedom,
    )


def shrunk_before(factors: Sequence[float], prior: Scatter) -> list[Scatter]:
    """The shrunk scatter that was known before each of m factors, and after the last: m + 1.

    Raises as `observed`.
    """
    known = [observed(factors[:place]) for place in range(1, len(factors) + 1)]
    return [prior, *(shrunk(each, prior) for each in known)]


def _trigamma_inverse(value: float) -> float:
    """Where the trigamma function has this value, by Newton's method (Smyth 2004, appendix)."""
    if value < 1e-6:
        return inf
    y = 0.5 + 1 / value
    for _ in range(NEWTON_STEPS):
        trigamma = float(polygamma(1, y))
        step = trigamma * (1 - trigamma / value) / float(polygamma(2, y))
        y += step
        if -step < 1e-10 * y:
            break
    return y
