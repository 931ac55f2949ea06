"""How much more the sets differ than their sampling errors say.

Sources: Cochran (1954), Biometrics 10:101-129 (Q); Higgins & Thompson (2002), Statistics in
Medicine 21:1539-1558 (H2, I2 and the typical sampling variance); Nakagawa & Santos (2012),
Evolutionary Ecology 26:1253-1274 (I2 by level).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from results.statistics.block_sums import SET, ErrorModel
from results.statistics.components import Maximum, Search
from results.statistics.errors import NoConvergence, NotEstimable
from results.statistics.linear import inverse

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]

STEPS = 200
TOLERANCE = 1e-9  # relative, of the last step of Newton's method, which then squares it
SETTLED = 1e-9  # relative fall of Q over a doubling of tau2 below which it falls no further
FURTHEST = 1e6
"""An upper end beyond so many times the variance seen is none: where Q falls as one over the sum,
it meets the lower point within some hundred times that variance even for three sets."""


@dataclass(frozen=True)
class Homogeneity:
    """Q on df = k - p with its p value, and the typical sampling variance (k-p)/tr(P).

    `beta` (p,) and `covariance` (p, p) are those of the common-effect fit.
    """

    Q: float
    df: int
    p: float
    typical_sampling_variance: float
    beta: Floats
    covariance: Floats


def homogeneity(model: ErrorModel) -> Homogeneity:
    """Test of one common value, and the typical variance, from the sampling covariance V alone."""
    total = model.totals(np.zeros((1, 3)))
    cross = total.cross[0]
    covariance = inverse(cross[:-1, :-1])
    if not np.isfinite(covariance).all():
        raise NotEstimable("the sets' sampling errors leave nothing to tell a mean from")
    beta = covariance @ cross[:-1, -1]
    residual = np.append(-beta, 1.0)
    q = float(residual @ cross @ residual)
    df = model.sets - beta.size
    trace = total.trace[0, SET] - np.trace(covariance @ total.slope[0, SET, :-1, :-1])
    typical = float(df / trace) if df > 0 and trace > 0 else math.nan
    return Homogeneity(q, df, float(chi2.sf(q, df)), typical, beta, covariance)


def total_end(
    best: Maximum, fitted: Booleans, df: int, probability: float, scale: float
) -> Search[float]:
    """Search for an end of the 95 percent interval of the components' sum, proportions as found.

    The generalised Q with weights M^-1 on `df` reaches the chi-square point of that probability
    there (Viechtbauer 2007, Statistics in Medicine 26:37-52, who has one component): 0.975 for the
    lower end, 0.025 for the upper. Where all are estimated as zero, the components fitted share
    alike. Where scatter at a level estimated as zero holds Q above the lower point whatever the
    sum, the upper end is infinite. Q falls and is convex, so Newton's method nears an end from
    below; it goes no further than `FURTHEST` times `scale`, a variance typical of the data.

    Raises NotEstimable where Q is not a number, NoConvergence.
    """
    whole, point = float(best.theta.sum()), float(chi2.ppf(probability, df))
    shares = best.theta / whole if whole > 0 else fitted / fitted.sum()
    low, high, total, furthest = 0.0, math.inf, whole, FURTHEST * scale
    for _ in range(STEPS):
        there = yield total * shares
        spare = there.misfit - point
        if not math.isfinite(spare):
            raise NotEstimable("the misfit of the sets can't be computed to any digit")
        if total == 0 and spare <= 0:
            return 0.0
        low, high = (total, high) if spare > 0 else (low, total)
        slope = float(shares @ there.misfit_slope)
        if total and spare > 0 and (total >= furthest or -slope * total <= SETTLED * there.misfit):
            return math.inf
        ahead = min(total - spare / slope, furthest) if slope < 0 else furthest
        if not low <= ahead <= high:
            ahead = (low + high) / 2 if low else 0.0
        if abs(ahead - total) <= TOLERANCE * ahead:
            return ahead
        total = ahead
    raise NoConvergence("the end of the interval of the whole variance was not found")


def share(component: float, total: float, typical_sampling_variance: float) -> float:
    """I2 of one level: its part of the variance of a single set of typical precision."""
    if math.isinf(component):
        return 1.0
    return component / (total + typical_sampling_variance)
