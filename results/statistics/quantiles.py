"""Quantiles to the last digit that their distribution function has, on every release of scipy."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtr
from scipy.stats import t as student_t

from results.statistics.errors import NoConvergence
from results.statistics.roots import RELATIVE

Floats = NDArray[np.float64]

NEWTON_STEPS = 2
MOST_STEPS = 200
ROOT_OF_TWO_PI = math.sqrt(2 * math.pi)


def t_quantile(probability: float, degrees_of_freedom: ArrayLike) -> NDArray[np.float64]:
    """Student's t quantile for degrees of freedom of any shape, from 0.5 upwards.

    That of scipy differs between releases by some 1e-10 for fractional degrees of freedom; Newton
    steps on the distribution function remove what is left. It is taken in the lower tail, where
    that function has all its digits. Not a number where the degrees of freedom are none.
    """
    freedom = np.asarray(degrees_of_freedom, dtype=np.float64)
    tail, sign = (probability, 1.0) if probability <= 0.5 else (1.0 - probability, -1.0)
    found = np.asarray(student_t.ppf(tail, freedom), dtype=np.float64)
    for _ in range(NEWTON_STEPS):
        step = (stdtr(freedom, found) - tail) / student_t.pdf(found, freedom)
        found = np.where(np.isfinite(step), found - step, found)
    return np.asarray(sign * found)


def mixture_quantile(weight: Floats, mean: Floats, sd: Floats, probability: float) -> float:
    """Quantile of a mixture of normal distributions, all arrays (g,), weights of sum one.

    Newton's method on the distribution function, kept between the least and the greatest of the
    parts' own quantiles: a mixture over three variances has some 70,000 parts, and Brent's method
    goes through them three times as often. Raises NoConvergence.
    """
    normal = ndtri(probability)
    parts = mean + normal * sd
    low, high, middle = float(parts.min()), float(parts.max()), float(weight @ mean)
    spread = float(np.sqrt(weight @ (sd**2 + (mean - middle) ** 2)))
    point, before = min(max(middle + normal * spread, low), high), high - low
    for _ in range(MOST_STEPS):
        apart = (point - mean) / sd
        excess = float(weight @ ndtr(apart)) - probability
        density = float((weight / sd) @ np.exp(-(apart**2) / 2)) / ROOT_OF_TWO_PI
        if not (math.isfinite(excess) and math.isfinite(density)):
            break
        low, high = (low, point) if excess > 0 else (point, high)
        newton = abs(excess) < before / 2 * density
        ahead = point - excess / density if newton else math.inf
        if not low <= ahead <= high:
            ahead = (low + high) / 2
        if abs(ahead - point) <= RELATIVE * (abs(ahead) + spread):
            return ahead
        point, before = ahead, abs(ahead - point)
    raise NoConvergence("the quantile of a mixture was not found")
