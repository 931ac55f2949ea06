"""Where a function of one number meets zero, within given bounds."""

import math
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq

from results.statistics.errors import NoConvergence

RELATIVE = 4 * float(np.finfo(np.float64).eps)


def root_between(function: Callable[[float], float], low: float, high: float) -> float:
    """The root of a continuous function that changes sign between `low` and `high`.

    By Brent's method (Brent 1973, Algorithms for Minimization without Derivatives, chapter 4) to
    the last digit that the function's own rounding leaves. Raises NoConvergence where the function
    does not change sign there or is not a number.
    """
    ends = function(low), function(high)
    if not all(map(math.isfinite, (low, high, *ends))) or ends[0] * ends[1] > 0:
        raise NoConvergence("no root lies within the bounds of the search")
    try:
        return float(brentq(function, low, high, xtol=1e-300, rtol=RELATIVE, maxiter=1000))
    except (RuntimeError, ValueError) as error:
        raise NoConvergence("the search for a root did not end") from error


def root_beyond(
    function: Callable[[float], float], low: float, step: float, doublings: int = 200
) -> float:
    """The root above `low` of a function that is positive there and falls.

    `step` is doubled until the function is no longer positive. Raises NoConvergence where it stays
    positive, or is not a number.
    """
    high = low + step
    for _ in range(doublings):
        if not function(high) > 0:
            return root_between(function, low, high)
        low, step = high, 2 * step
        high = low + step
    raise NoConvergence("the function does not reach zero however far one goes")
