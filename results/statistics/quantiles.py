"""Quantiles to the last digit that their distribution function has, on every release of scipy."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtr
from scipy.stats import t as student_t

from results.statistics.roots import root_between

Floats = NDArray[np.float64]

NEWTON_STEPS = 2


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

    Raises NoConvergence.
    """
    low, high = float((mean - 40 * sd).min()), float((mean + 40 * sd).max())
    return root_between(
        lambda point: float(weight @ ndtr((point - mean) / sd)) - probability, low, high
    )
