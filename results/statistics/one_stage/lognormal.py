"""Groups of pulls whose ln load is normal around their level with one sd for all groups.

Exact pulls y ~ N(eta, s^2) are normal in eta. A pull that is only 'at least' c contributes
Phi((eta - c)/s), and is stood in for by the normal that gives eta the same mean and variance beside
all the rest: with eta ~ N(m, v) by the rest, Phi's expectation is Phi(z), z = (m - c)/sqrt(s^2 +
v), and the moments follow from its derivatives in m (Rasmussen & Williams 2006, 3.6).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from results.statistics.censored_newton import LOG_SQRT_2PI
from results.statistics.nesting import Codes
from results.statistics.one_stage.groups import (
    LEAST_PRECISION,
    Booleans,
    Floats,
    Normals,
    State,
)


@dataclass(frozen=True)
class LognormalPulls:
    """Exact pulls by their number, mean and sum of squares around it, (g,) each; others by row.

    ln loads are measured from an `origin` (g,) near them. `bound` (c,) are those that are only 'at
    least', and `group` (c,) their groups.
    """

    origin: Floats
    number: Floats
    mean: Floats
    squares: Floats
    bound: Floats
    group: Codes

    @property
    def pulls(self) -> int:
        return int(self.number.sum()) + self.bound.size

    def start(self, _scale: float) -> State:
        """Nothing from the pulls that aren't exact."""
        return np.zeros(self.bound.size), np.zeros(self.bound.size)

    def site(self, scale: float, state: State) -> Normals:
        precision, lean = self._site(scale, state)
        return self.origin + lean / precision, 1 / precision

    def renewed(
        self, scale: float, state: State, cavity: Normals, share: float
    ) -> tuple[State, float]:
        if not self.bound.size:
            return state, 0.0
        mean, variance, z, hazard = self._beside(scale, state, cavity)
        total = scale**2 + variance
        bend = hazard * (hazard + z) / total
        # Rounding may take bend to its bound, beyond all information.
        precision = bend / np.maximum(1 - variance * bend, 1e-12)
        lean = precision * mean + hazard / np.sqrt(total) * (1 + variance * precision)
        change = precision - state[0], lean - state[1]
        far = max(np.abs(change[0]).max() * scale**2, np.abs(change[1]).max() * scale)
        return (state[0] + share * change[0], state[1] + share * change[1]), float(far)

    def outcome(self, scale: float, state: State, cavity: Normals) -> tuple[Floats, Floats]:
        precision, lean = self._site(scale, state)
        s2, number, groups = scale**2, self.number, self.number.size
        squares = self.squares + number * self.mean**2
        value = -number * (LOG_SQRT_2PI + math.log(scale)) - squares / (2 * s2)
        value += LOG_SQRT_2PI - np.log(precision) / 2 + lean**2 / (2 * precision)
        spread = 1 / (1 / cavity[1] + precision)
        level = spread * ((cavity[0] - self.origin) / cavity[1] + lean)
        slope = (self.squares + number * ((self.mean - level) ** 2 + spread)) / s2 - number
        if self.bound.size:
            mean, variance, z, hazard = self._beside(scale, state, cavity)
            whole = 1 / variance + state[0]
            of_site = (mean / variance + state[1]) ** 2 / whole - mean**2 / variance
            of_site = (of_site - np.log1p(state[0] * variance)) / 2
            steepness = -hazard * z * s2 / (s2 + variance)
            value += np.bincount(self.group, log_ndtr(z) - of_site, minlength=groups)
            slope += np.bincount(self.group, steepness, minlength=groups)
        return value, slope

    def _site(self, scale: float, state: State) -> State:
        """Precision, and it times the mean from the origin, of each group's site."""
        precision, lean = self.number / scale**2, self.number * self.mean / scale**2
        if self.bound.size:
            groups = self.number.size
            precision = precision + np.bincount(self.group, state[0], minlength=groups)
            lean = lean + np.bincount(self.group, state[1], minlength=groups)
        return np.maximum(precision, LEAST_PRECISION / scale**2), lean

    def _beside(
        self, scale: float, state: State, cavity: Normals
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Mean and variance of eta by all but each pull that isn't exact; its z and hazard."""
        precision, lean = self._site(scale, state)
        precision = precision + 1 / cavity[1]
        lean = lean + (cavity[0] - self.origin) / cavity[1]
        # Sites have no more precision than all else together, but for rounding.
        variance = 1 / np.maximum(precision[self.group] - state[0], 1e-9 * precision[self.group])
        mean = variance * (lean[self.group] - state[1])
        z = (mean - self.bound) / np.sqrt(scale**2 + variance)
        return mean, variance, z, np.exp(-(z**2) / 2 - LOG_SQRT_2PI - log_ndtr(z))


def lognormal_pulls(y: Floats, exact: Booleans, group: Codes, groups: int) -> LognormalPulls:
    """ln loads y (n,) with flags and group numbers (n,)."""
    pulls = np.bincount(group, minlength=groups)
    origin = np.bincount(group, y, minlength=groups) / np.maximum(pulls, 1)
    off = y - origin[group]
    of_exact = group[exact]
    number = np.bincount(of_exact, minlength=groups).astype(np.float64)
    mean = np.bincount(of_exact, off[exact], minlength=groups) / np.maximum(number, 1)
    around = (off[exact] - mean[of_exact]) ** 2
    squares = np.bincount(of_exact, around, minlength=groups).astype(np.float64)
    return LognormalPulls(origin, number, mean, squares, off[~exact], group[~exact])


def pooled_sd(pulls: LognormalPulls) -> float | None:
    """The exact pulls' sd around their groups' means; None where there is none."""
    freedom = float(np.maximum(pulls.number - 1, 0).sum())
    squares = float(pulls.squares.sum())
    return math.sqrt(squares / freedom) if freedom > 0 and squares > 1e-20 * freedom else None
