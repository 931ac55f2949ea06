"""Profile likelihood intervals of a censored fit: its location, and any quantile of it.

A value q of the quantile z_p scales above the location is held, the scale is maximised (with z =
b (y - q) + z_p, concave in b as in `censored`), and the ends are where twice the loss of
log-likelihood reaches a critical deviance.  That is chi-square's point in large samples; for the
few pulls of a set `small_sample_deviance` takes the deviance at which the exact normal-theory bound
of a whole sample stands: Student's t for a location, the noncentral t for a quantile (as in ISO
16269-6).  It is exact for whole lognormal samples and an approximation for the rest.
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import nct

from results.statistics.censored import CensoredFit, Family, terms_of
from results.statistics.errors import NoConvergence

CHI_SQUARE_95 = 3.841458820694124
"""The 95 percent point of chi-square with 1 degree of freedom."""


def quantile_shift(family: Family, probability: float) -> float:
    """z_p: how many scales the quantile with ``probability`` below it lies above the location."""
    if family == "weibull":
        return float(np.log(-np.log1p(-probability)))
    return float(ndtri(probability))


def profile_loglik(fit: CensoredFit, point: float, shift: float) -> float:
    """Greatest log-likelihood with location + shift x scale held at ``point`` (unit of y)."""
    terms = terms_of(fit.family)
    distance = fit.y - point
    failures = float(fit.failures)

    def score(log_b: float) -> float:
        _, slope, _ = terms(np.exp(log_b) * distance + shift, fit.failed)
        return failures + float(np.exp(log_b) * (slope @ distance))

    centre = -float(np.log(fit.scale))
    low, high = centre - 1.0, centre + 1.0
    while score(low) < 0:
        low -= 2.0
    while score(high) > 0:
        high += 2.0
    scale = float(np.exp(-brentq(score, low, high, xtol=1e-13)))
    return fit.loglik_at(point - shift * scale, scale)


def profile_end(fit: CensoredFit, shift: float, deviance: float, direction: int) -> float:
    """Where location + shift x scale reaches ``deviance``, below (-1) or above (+1) its estimate.

    In the unit of y.  Raises `NoConvergence` where the profile never falls that far.
    """
    estimate, best = fit.location + shift * fit.scale, fit.loglik

    def excess(point: float) -> float:
        return 2.0 * (best - profile_loglik(fit, point, shift)) - deviance

    gradient = np.array([1.0, shift * fit.scale])
    stride = direction * float(np.sqrt(deviance * (gradient @ fit.covariance @ gradient)))
    outside = estimate + stride
    for _ in range(60):
        if excess(outside) > 0:
            return float(brentq(excess, estimate, outside, xtol=1e-13, rtol=1e-13))
        stride *= 2.0
        outside += stride
    raise NoConvergence("the profile likelihood is too flat for an interval end")


def small_sample_deviance(n: float, shift: float, confidence: float) -> float:
    """Deviance of the exact one-sided bound of location + shift x scale, whole normal sample of n.

    The bound is mean - k sd with k = t(confidence; n - 1, -shift sqrt n)/sqrt n.
    """
    root = np.sqrt(n)
    k = float(nct.ppf(confidence, n - 1.0, -shift * root)) / root
    k_ml = k * np.sqrt(n / (n - 1.0))
    b = (-shift * k_ml + np.sqrt((shift * k_ml) ** 2 + 4.0 * (1.0 + k_ml**2))) / (
        2.0 * (1.0 + k_ml**2)
    )
    return float(n * (b**2 + (b * k_ml + shift) ** 2 - 1.0 - 2.0 * np.log(b)))
