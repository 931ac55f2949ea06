"""Profile likelihood intervals of the variance components.

An end is where twice the fall of the restricted likelihood, the other components maximised
again, reaches the 95 percent point of chi-square on one degree of freedom (Venzon & Moolgavkar
1988, Applied Statistics 37:87-94). The slope of the profile is the component's own score there.
Where the fall is not reached on the way down to zero, the interval starts at zero.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from results.statistics.components import NEAR, Booleans, Maximum, Search, climbing
from results.statistics.errors import NoConvergence
from results.statistics.linear import solve_positive

Floats = NDArray[np.float64]

DROP = float(chi2.ppf(0.95, 1))
DOUBLINGS = 200
STEPS = 200
NEXT_TO_ZERO = 1e-6
"""Of the estimate, in place of zero, where a likelihood may have no digit that a climb follows."""
TOLERANCE = 1e-9  # relative, of the last step of Newton's method, which then squares it


def profile_low(
    best: Maximum, fitted: Booleans, component: int, drop: float = DROP
) -> Search[float]:
    """Search for the lower end of the interval of component c of theta, where the fall is `drop`.

    That is the 95 percent interval unless said otherwise.
    """
    profile, estimate = _Profile(best, fitted, component, drop), float(best.theta[component])
    if estimate <= 0:
        return 0.0
    least = NEXT_TO_ZERO * estimate
    there = yield from profile.excess(least, best)
    if there.excess <= 0:
        return 0.0
    return (yield from profile.crossing(estimate, least, there))


def profile_high(
    best: Maximum, fitted: Booleans, component: int, scale: float, drop: float = DROP
) -> Search[float]:
    """As `profile_low`, for the upper end; `scale` is a variance typical of the data.

    Raises NoConvergence where the likelihood does not fall however large the component.
    """
    profile, inside = _Profile(best, fitted, component, drop), float(best.theta[component])
    outside = max(2 * inside, scale)
    for _ in range(DOUBLINGS):
        there = yield from profile.excess(outside, best)
        if there.excess > 0:
            return (yield from profile.crossing(inside, outside, there))
        inside, outside = outside, 2 * outside
    raise NoConvergence("the likelihood of a variance component has no upper end")


@dataclass(frozen=True)
class _Fall:
    """Fall beyond the point sought where the component is held, its slope, and the maximum."""

    excess: float
    slope: float
    held: Maximum


@dataclass(frozen=True)
class _Profile:
    best: Maximum
    fitted: Booleans
    component: int
    drop: float

    def excess(self, value: float, near: Maximum) -> Search[_Fall]:
        others = self.fitted.copy()
        others[self.component] = False
        held = yield from climbing(self._along(near, value, others), others, NEAR)
        fall = 2 * (self.best.likelihood.value - held.likelihood.value)
        return _Fall(fall - self.drop, -2 * float(held.likelihood.score[self.component]), held)

    def crossing(self, inside: float, outside: float, there: _Fall) -> Search[float]:
        """Newton's method kept between a value within the interval and one beyond its end.

        It starts `there`, at the value beyond.
        """
        value = outside
        for _ in range(STEPS):
            if there.excess > 0:
                outside = value
            else:
                inside = value
            ahead = value - there.excess / there.slope if there.slope else np.inf
            if not min(inside, outside) <= ahead <= max(inside, outside):
                ahead = (inside + outside) / 2
            if abs(ahead - value) <= TOLERANCE * abs(ahead):
                return float(ahead)
            value = ahead
            there = yield from self.excess(value, there.held)
        raise NoConvergence("the end of a profile interval was not found")

    def _along(self, near: Maximum, value: float, others: Booleans) -> Floats:
        """Where the others' maximum moves to, to first order, when the component moves."""
        start = near.theta.copy()
        start[self.component] = value
        moving = others & (near.theta > 0)
        if moving.any():
            observed = near.likelihood.observed
            turn = solve_positive(
                observed[np.ix_(moving, moving)], observed[moving, self.component]
            )
            if turn is not None:
                moved = start[moving] - turn * (value - near.theta[self.component])
                start[moving] = np.where(moved > 0, moved, start[moving])
        return start
