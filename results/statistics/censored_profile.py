"""Profile likelihood intervals of a censored fit: its location, and any quantile of it.

A value q of the quantile z_p scales above the location is held, the scale is maximised (with z =
b (y - q) + z_p, concave in b as in `censored`), and the ends are where twice the loss of
log-likelihood reaches a critical deviance.  That is chi-square's point in large samples; for the
few pulls of a set `small_sample_deviance` takes the deviance at which the exact normal-theory bound
of a whole sample stands: Student's t for a location, the noncentral t for a quantile (as in ISO
16269-6).  It is exact for whole lognormal samples and an approximation for the rest.
"""

from functools import cache

import numpy as np
from scipy.special import ndtri
from scipy.stats import nct

from results.statistics.censored import CensoredFit
from results.statistics.censored_newton import Family, terms_of
from results.statistics.errors import NoConvergence
from results.statistics.roots import root_between

CHI_SQUARE_95 = 3.841458820694124
"""The 95 percent point of chi-square with 1 degree of freedom."""

STEPS = 100


def quantile_shift(family: Family, probability: float) -> float:
    """z_p: how many scales the quantile with ``probability`` below it lies above the location."""
    if family == "weibull":
        return float(np.log(-np.log1p(-probability)))
    return float(ndtri(probability))


def profile_loglik(fit: CensoredFit, point: float, shift: float) -> float:
    """Greatest log-likelihood with location + shift x scale held at ``point`` (unit of y).

    Newton's steps for the root in b of the score, which falls with b, kept inside the bracket that
    the signs seen so far give.
    """
    terms, distance, failures = terms_of(fit.family), fit.y - point, float(fit.failures)
    b, low, high = 1.0 / fit.scale, 0.0, np.inf
    for _ in range(STEPS):
        _, slope, curvature = terms(b * distance + shift, fit.failed)
        score = failures / b + float(slope @ distance)
        low, high = (b, high) if score > 0 else (low, b)
        step = score / (failures / b**2 - float(curvature @ distance**2))
        # The likelihood is flat at its maximum: an error of 1e-8 in b is 1e-16 there.
        if abs(step) < 1e-8 * b:
            return fit.loglik_at(point - shift / b, 1.0 / b)
        inside = low < b + step < high
        b = b + step if inside else min((low + high) / 2.0, 2.0 * b)
    raise NoConvergence("the scale of most likelihood was not found")


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
            return root_between(excess, estimate, outside)
        stride *= 2.0
        outside += stride
    raise NoConvergence("the profile likelihood is too flat for an interval end")


@cache
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
