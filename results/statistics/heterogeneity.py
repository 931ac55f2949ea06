"""How much more the sets differ than their sampling errors say.

Sources: Cochran (1954), Biometrics 10:101-129 (Q); Higgins & Thompson (2002), Statistics in
Medicine 21:1539-1558 (H2, I2 and the typical sampling variance); Nakagawa & Santos (2012),
Evolutionary Ecology 26:1253-1274 (I2 by level).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2

from results.statistics.block_sums import SET, ErrorModel

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]

SETTLED = 1e-9  # relative fall of Q over a doubling of tau2 below which it falls no further


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
    total = model.total(np.zeros(3))
    cross = total.cross[0]
    covariance = np.linalg.inv(cross[:-1, :-1])
    beta = covariance @ cross[:-1, -1]
    residual = np.append(-beta, 1.0)
    q = float(residual @ cross @ residual)
    df = model.sets - beta.size
    trace = total.trace[0, SET] - np.trace(covariance @ total.slope[0, SET, :-1, :-1])
    return Homogeneity(q, df, float(chi2.sf(q, df)), float(df / trace), beta, covariance)


def total_interval(model: ErrorModel, theta: Floats, fitted: Booleans) -> tuple[float, float]:
    """95 percent interval of the sum of the components, their proportions as estimated.

    Where the generalised Q with weights M^-1 lies between the chi-square points (Viechtbauer
    2007, Statistics in Medicine 26:37-52, who has one component). Where all are estimated as
    zero, the components fitted share alike. Where scatter at a level estimated as zero holds Q
    above the lower point whatever the sum, the upper end is infinite.
    """
    whole = float(theta.sum())
    shares = theta / whole if whole > 0 else fitted / fitted.sum()
    df = model.sets - model.design.shape[1]

    def spare(total: float, point: float) -> float:
        cross = model.total(total * shares).cross[0]
        residual = np.append(-np.linalg.solve(cross[:-1, :-1], cross[:-1, -1]), 1.0)
        return float(residual @ cross @ residual) - point

    def end(point: float) -> float:
        if spare(0.0, point) <= 0:
            return 0.0
        high = whole or 1.0
        excess = spare(high, point)
        while excess > 0:
            high, before = 2 * high, excess
            excess = spare(high, point)
            if before - excess <= SETTLED * (before + point):
                return math.inf
        return float(brentq(spare, 0.0, high, args=(point,), xtol=1e-14 * high, rtol=1e-10))

    return end(float(chi2.ppf(0.975, df))), end(float(chi2.ppf(0.025, df)))


def share(component: float, total: float, typical_sampling_variance: float) -> float:
    """I2 of one level: its part of the variance of a single set of typical precision."""
    if math.isinf(component):
        return 1.0
    return component / (total + typical_sampling_variance)
