"""The calibration line of a rig: reading on check-weight force, and load from reading.

Vocabulary and formulae: JCGM 100:2008 (GUM), 5.2 and annex H.3 (line and correlation of its
coefficients); EURACHEM/CITAC QUAM, example A5 (inverse). Agreement, in tests/metrology:
GUM H.3 to every printed digit, the NIST Norris set to 1e-11 relative, the NIST/SEMATECH load
cell (line and inverse) to 1e-9.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.errors import (
    AllTheSameMass,
    NotFinite,
    ReadingFallsWithForce,
    TooFewCheckWeights,
    UnequalLengths,
)

MIX_UP_TOLERANCE = 0.12
"""How near, relative, a gain must be to a ratio of units (common practice, no source)."""

FAR_OFF = 0.05
"""From this part of its force on a reading is far from the line of the others; of less than a
fifth of the largest force, that part of the fifth (common practice, no source)."""
LEAST_TO_COMPARE = 4

_UNIT_RATIOS = {
    4.4482216152605: "the scale shows N but its readings were entered as lbf",
    1 / 4.4482216152605: "the scale shows lbf but its readings were entered as N",
    9.80665: "the scale shows N but its readings were entered as kgf",
    1 / 9.80665: "the scale shows kgf but its readings were entered as N",
    1 / 0.45359237: "the scale shows lbf but its readings were entered as kgf",
    0.45359237: "the scale shows kgf but its readings were entered as lbf",
}


@dataclass(frozen=True)
class UnitMixUp:
    """A suspicion: the gain is near `factor`, which would be explained by `explanation`."""

    factor: float
    explanation: str


@dataclass(frozen=True)
class CalibrationLine:
    """reading = gain x load + offset, by least squares over `df + 2` readings.

    `gain` is a pure number; offset, residual sd, residuals (one a reading, as given) and the
    range of check-weight forces are in newtons. `correlation` is that of gain and offset.
    """

    gain: float
    offset_N: float
    u_gain: float
    u_offset_N: float
    correlation: float
    residual_sd_N: float
    df: int
    residuals: NDArray[np.float64]
    lowest_N: float
    highest_N: float

    def load(self, reading_N: ArrayLike) -> NDArray[np.float64]:
        """The load in newtons behind each reading in newtons, in the shape given."""
        return (np.asarray(reading_N, float) - self.offset_N) / self.gain

    def u_load(self, reading_N: ArrayLike, readings: int = 1) -> NDArray[np.float64]:
        """Standard uncertainty in newtons of the load behind the mean of `readings` readings.

        s/b sqrt(1/p + 1/n + (load - mean load)^2/Sxx) where only the line is uncertain
        (EURACHEM/CITAC QUAM, example A5), here by propagation with the correlation (GUM 5.2).
        """
        load = self.load(reading_N)
        covariance = self.correlation * self.u_gain * self.u_offset_N
        line = self.u_offset_N**2 + (load * self.u_gain) ** 2 + 2 * load * covariance
        return np.sqrt(self.residual_sd_N**2 / readings + line) / self.gain

    @property
    def offset_is_zero(self) -> bool:
        """Whether the zero error is within twice its standard uncertainty."""
        return abs(self.offset_N) <= 2 * self.u_offset_N

    @property
    def unit_mix_up(self) -> UnitMixUp | None:
        """The mix-up of units that would explain this gain, if one would."""
        for factor, explanation in _UNIT_RATIOS.items():
            if abs(self.gain / factor - 1) <= MIX_UP_TOLERANCE:
                return UnitMixUp(factor, explanation)
        return None


def calibration_line(
    force_N: ArrayLike, reading_N: ArrayLike, u_force_N: ArrayLike | None = None
) -> CalibrationLine:
    """Fit reading on check-weight force: two columns of n readings, in newtons.

    `u_force_N` holds the standard uncertainty of the force of each row's check weight. Rows of
    one force share its error and errors of different forces are independent; they are propagated
    into the coefficients beside the scatter of the readings (GUM 5.2), never averaged away by
    reading the same weight again.

    Raises NotFinite, UnequalLengths, AllTheSameMass, TooFewCheckWeights (fewer than three
    different forces above zero) and ReadingFallsWithForce.
    """
    force, reading = np.asarray(force_N, float).ravel(), np.asarray(reading_N, float).ravel()
    u_force = None if u_force_N is None else np.asarray(u_force_N, float).ravel()
    _check_columns(force, reading, u_force)
    n, mean_force = force.size, force.mean()
    centred = force - mean_force
    sum_of_squares = float(centred @ centred)
    gain = float(centred @ (reading - reading.mean())) / sum_of_squares
    if gain <= 0:
        raise ReadingFallsWithForce(
            f"the reading changes by {gain:.4g} N for each newton of check weight; "
            "expected it to rise: are force and reading in the right columns?"
        )
    offset = float(reading.mean() - gain * mean_force)
    residuals = (reading - reading.mean()) - gain * centred
    residual_variance = float(residuals @ residuals) / (n - 2)
    # Rows of the influence of each reading on offset and gain: d(offset, gain)/d(reading).
    influence = np.vstack([1 / n - mean_force * centred / sum_of_squares, centred / sum_of_squares])
    covariance = residual_variance * (influence @ influence.T)
    if u_force is not None:
        covariance = covariance + gain**2 * _shared_by_weight(influence, force, u_force)
    u_offset, u_gain = np.sqrt(np.diag(covariance))
    return CalibrationLine(
        gain=gain,
        offset_N=offset,
        u_gain=float(u_gain),
        u_offset_N=float(u_offset),
        correlation=float(covariance[0, 1] / (u_offset * u_gain)) if u_gain > 0 else 0.0,
        residual_sd_N=residual_variance**0.5,
        df=n - 2,
        residuals=residuals,
        lowest_N=float(force.min()),
        highest_N=float(force.max()),
    )


def farthest_off(force_N: ArrayLike, reading_N: ArrayLike) -> tuple[int, float] | None:
    """The reading farthest from the line of all the others, and what they expect of it in newtons.

    Two columns of n readings, in newtons. It is the one without which the others lie nearest to a
    line; what they expect is off by e / (1 - h), with the residual e and the diagonal h of the hat
    matrix (Cook & Weisberg 1982, Residuals and Influence in Regression, 2.2). None where it is
    nearer than ``FAR_OFF``, or where three others can't say.
    """
    force, reading = np.asarray(force_N, float).ravel(), np.asarray(reading_N, float).ravel()
    centred = force - force.mean() if force.size else force
    sum_of_squares = float(centred @ centred)
    if force.size < LEAST_TO_COMPARE or sum_of_squares == 0:
        return None
    residuals = reading - reading.mean() - centred * (centred @ reading) / sum_of_squares
    free = 1 - (1 / force.size + centred**2 / sum_of_squares)
    known = free > np.sqrt(np.finfo(float).eps)
    if not known.any():
        return None
    off = np.divide(residuals, free, out=np.zeros_like(residuals), where=known)
    at = int(np.argmax(residuals * off))
    if abs(off[at]) <= FAR_OFF * max(force[at], force.max() / 5):
        return None
    return at, float(reading[at] - off[at])


def _shared_by_weight(
    influence: NDArray[np.float64], force: NDArray[np.float64], u_force: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Covariance of (offset, gain) for unit gain from the uncertainty of each different weight."""
    weights = (force[:, None] == np.unique(force)).astype(float)
    shifts = (influence * u_force) @ weights
    return np.asarray(shifts @ shifts.T)


def _check_columns(
    force: NDArray[np.float64], reading: NDArray[np.float64], u_force: NDArray[np.float64] | None
) -> None:
    columns = [force, reading] if u_force is None else [force, reading, u_force]
    if len({column.size for column in columns}) > 1:
        raise UnequalLengths(
            f"columns of {[column.size for column in columns]} rows, expected one length"
        )
    for name, column in zip(("force", "reading", "uncertainty of force"), columns, strict=False):
        if not np.isfinite(column).all():
            row = int(np.flatnonzero(~np.isfinite(column))[0])
            raise NotFinite(f"row {row + 1}, {name}: found {column[row]}, expected a finite number")
    different = np.unique(force[force > 0]).size
    if different == 1 and force.size > 1:
        raise AllTheSameMass(
            "every row has the same check weight, expected at least three different"
        )
    if different < 3:
        raise TooFewCheckWeights(
            f"found {different} different check weights above zero, expected at least three"
        )
