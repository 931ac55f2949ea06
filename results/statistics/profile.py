"""Profile likelihood intervals of the variance components.

An end is where twice the fall of the restricted likelihood, the other components maximised
again, reaches the 95 percent point of chi-square on one degree of freedom (Venzon & Moolgavkar
1988, Applied Statistics 37:87-94). Where it is not reached on the way down to zero the interval
starts at zero.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import toms748
from scipy.stats import chi2

from results.statistics.components import At, Booleans, Maximum, maximise
from results.statistics.errors import NoConvergence

Floats = NDArray[np.float64]

DROP = float(chi2.ppf(0.95, 1))
DOUBLINGS = 200
RELATIVE_TOLERANCE = 1e-11


def profile_interval(
    at: At, best: Maximum, fitted: Booleans, component: int, scale: float
) -> tuple[float, float]:
    """95 percent interval of component c of theta; `scale` is a variance typical of the data.

    Raises NoConvergence where the likelihood does not fall however large the component.
    """
    others = fitted.copy()
    others[component] = False
    latest = best.theta.copy()

    def excess(value: float) -> float:
        start = latest.copy()
        start[component] = value
        held = maximise(at, start, others)
        latest[others] = held.theta[others]
        return 2 * (best.likelihood.value - held.likelihood.value) - DROP

    estimate = float(best.theta[component])
    low = 0.0
    if estimate > 0 and excess(0.0) > 0:
        low = _end(excess, 0.0, estimate, estimate)
    latest[:] = best.theta
    inside = estimate
    outside = max(2 * estimate, scale)
    for _ in range(DOUBLINGS):
        if excess(outside) > 0:
            return low, _end(excess, inside, outside, outside)
        inside, outside = outside, 2 * outside
    raise NoConvergence("the likelihood of a variance component has no upper end")


def _end(excess: Callable[[float], float], low: float, high: float, size: float) -> float:
    return float(
        toms748(excess, low, high, xtol=RELATIVE_TOLERANCE * size, rtol=RELATIVE_TOLERANCE)
    )
