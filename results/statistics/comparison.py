"""One's own tying beside everyone else's: where it stands, and how even it is.

The pool is the one without oneself, given as plain figures on the log scale: mu with its standard
error and degrees of freedom, and the variance between testers.  The place among testers is the
prediction distribution's (Higgins, Thompson & Spiegelhalter 2009, JRSS A 172:137), widened by one's
own sampling error.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import f as fisher
from scipy.stats import t as student

from results.statistics.errors import (
    NotEstimable,
    NotFinite,
    NotPositive,
    ShapeMismatch,
    TooFewSets,
)
from results.statistics.linear import solved
from results.statistics.precision import k_critical_by_freedom
from results.statistics.scatter import Scatter

LARGEST_LOG = 700.0  # exp() of more is beyond all numbers
Place = Literal["below", "within", "above"]


@dataclass(frozen=True)
class OwnMean:
    """Mean of a tester's own log ratios and its variance about the tester's long-run value."""

    log_ratio: float
    variance: float
    sets: int
    sessions: int


def own_mean(
    log_ratio: ArrayLike,
    own_variance: ArrayLike,
    shared_variance: ArrayLike,
    baseline: ArrayLike,
    session: ArrayLike,
    *,
    tau2_session: float,
    tau2_set: float,
    zero: ArrayLike = 0.0,
    scale: ArrayLike = 0,
) -> OwnMean:
    """Generalised least squares mean of one tester's k sets, all arguments but the taus (k,).

    Sets of one ``baseline`` share its variance, sets of one ``session`` the session's; the taus are
    the pool's.  ``zero`` is what one standard error of the scale's zero moves each log ratio by,
    with its sign: (1/mean_join - 1/mean_baseline) u, so that it cancels where both loads are alike
    and grows as the join is weaker; (k, e) where there are e such errors.  Sets of one ``scale``,
    that is of one calibration, share it however many sessions they are of.  Raises `TooFewSets`
    for none, `ShapeMismatch`, `NotFinite`, `NotPositive`.
    """
    y, own, shared = (
        np.atleast_1d(np.asarray(values, dtype=float))
        for values in (log_ratio, own_variance, shared_variance)
    )
    of_baseline, of_session = np.atleast_1d(baseline), np.atleast_1d(session)
    if not y.shape == own.shape == shared.shape == of_baseline.shape == of_session.shape:
        raise ShapeMismatch("log ratios, variances, baselines and sessions differ in number")
    if y.size == 0:
        raise TooFewSets("there is no set of one's own to compare")
    if not np.isfinite([y, own, shared]).all():
        raise NotFinite("a log ratio or a variance is missing")
    if (own <= 0).any() or (shared < 0).any() or tau2_session < 0 or tau2_set < 0:
        raise NotPositive("a variance is below zero, or a set's own variance is zero")
    covariance = np.diag(own + tau2_set)
    covariance += np.equal.outer(of_baseline, of_baseline) * shared
    covariance += np.equal.outer(of_session, of_session) * tau2_session
    moved = np.asarray(zero, dtype=float)
    moved = moved if moved.ndim == 2 else np.broadcast_to(moved, y.shape)[:, None]
    of_scale = np.broadcast_to(scale, y.shape)
    if not np.isfinite(moved).all():
        raise NotFinite("what the zero of a scale moves a log ratio by is missing")
    covariance += np.equal.outer(of_scale, of_scale) * (moved @ moved.T)
    weights = solved(covariance, np.ones((y.size, 1)))[:, 0]
    precision = float(weights.sum())
    sessions = len(set(of_session.tolist()))
    return OwnMean(float(weights @ y) / precision, 1.0 / precision, y.size, sessions)


def variance_between_testers(
    prediction_sd: float, se_model: float, tau2_session: float, tau2_set: float
) -> float:
    """The variance between testers that a pool's prediction interval implies.

    The prediction averages over what that variance may be, so that this is above zero where its
    estimate is zero.
    """
    return max(prediction_sd**2 - se_model**2 - tau2_session - tau2_set, 0.0)


@dataclass(frozen=True)
class Comparison:
    """Own value against the pool without oneself; ratios are own efficiency over the pool's.

    ``share_below`` is the share of testers expected to come out below, were they as well measured.
    ``place`` says where ``share_below`` lies, within being the middle 95 in 100.
    """

    ratio: float
    ratio_low: float
    ratio_high: float
    log_difference: float
    standard_error: float
    degrees_of_freedom: float
    differs: bool
    share_below: float
    place: Place


def compare(
    own: OwnMean,
    *,
    mu: float,
    se: float,
    degrees_of_freedom: float,
    tau2_tester: float,
    prediction_freedom: float,
) -> Comparison:
    """Compare ``own`` with a pool of others: ``mu``, ``se`` and degrees of freedom on log scale.

    ``tau2_tester`` is best that of `variance_between_testers`.
    The variance of ``own`` counts as known, that of mu rests on ``degrees_of_freedom``; they are
    put together after Welch (1947).  Raises `NotPositive`, `NotFinite`, and `NotEstimable` where
    the interval of the ratio goes beyond all numbers.
    """
    if not np.isfinite([mu, se, degrees_of_freedom, tau2_tester, prediction_freedom]).all():
        raise NotFinite("a figure of the pool is missing")
    if se <= 0 or degrees_of_freedom <= 0 or prediction_freedom <= 0 or tau2_tester < 0:
        raise NotPositive("a standard error, degrees of freedom or tau2 of the pool is below zero")
    difference = own.log_ratio - mu
    variance = own.variance + se**2
    freedom = degrees_of_freedom * (variance / se**2) ** 2
    half = float(student.ppf(0.975, freedom)) * float(np.sqrt(variance))
    spread = float(np.sqrt(variance + tau2_tester))
    share_below = float(student.cdf(difference / spread, prediction_freedom))
    if not abs(difference) + half < LARGEST_LOG:
        raise NotEstimable("the sets leave the difference open by any factor")
    return Comparison(
        ratio=float(np.exp(difference)),
        ratio_low=float(np.exp(difference - half)),
        ratio_high=float(np.exp(difference + half)),
        log_difference=difference,
        standard_error=float(np.sqrt(variance)),
        degrees_of_freedom=freedom,
        differs=abs(difference) > half,
        share_below=share_below,
        place=_place(share_below),
    )


def _place(share_below: float) -> Place:
    if share_below < 0.025:
        return "below"
    return "above" if share_below > 0.975 else "within"


@dataclass(frozen=True)
class ScatterComparison:
    """Own scatter against the others'.

    ``k`` is Mandel's, own scatter over that of all together, with its 5 and 1 percent points; ``f``
    the ratio of variances own/others with its two-sided probability and 95 percent interval of the
    ratio of scatters.
    """

    k: float
    k_critical_5_percent: float
    k_critical_1_percent: float
    f: float
    probability: float
    ratio: float
    ratio_low: float
    ratio_high: float


def compare_scatter(own: Scatter, others: Scatter) -> ScatterComparison:
    """Mandel's k and F of one's own scatter against that of the pool without oneself.

    Raises `NotEstimable` where one scatter is so far below the other that their ratio is lost.
    """
    v, rest = own.degrees_of_freedom, others.degrees_of_freedom
    pooled = (v * own.cv**2 + rest * others.cv**2) / (v + rest)
    f = (own.cv / others.cv) ** 2
    one_sided = min(float(fisher.sf(f, v, rest)), float(fisher.cdf(f, v, rest)))
    found = ScatterComparison(
        k=own.cv / float(np.sqrt(pooled)),
        k_critical_5_percent=float(k_critical_by_freedom(v, rest, 0.05)),
        k_critical_1_percent=float(k_critical_by_freedom(v, rest, 0.01)),
        f=f,
        probability=2.0 * one_sided,
        ratio=own.cv / others.cv,
        ratio_low=float(np.sqrt(f / float(fisher.ppf(0.975, v, rest)))),
        ratio_high=float(np.sqrt(f / float(fisher.ppf(0.025, v, rest)))),
    )
    if not np.isfinite([*vars(found).values()]).all():
        raise NotEstimable("the two scatters are too far apart, or rest on too little, to compare")
    return found
