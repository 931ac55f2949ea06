"""Is the rig straight? The quadratic beside the calibration line.

A line's residuals show what its correlation hides: a load cell can follow a line to 0.02 percent
and still be curved (NIST/SEMATECH e-Handbook 2.3.6.5). Least squares by QR on scaled forces;
agreement, in tests/metrology: NIST Pontius to 1e-9, the NIST load cell to 1e-8.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from rigs.metrology.errors import NotFinite, TooFewCheckWeights, UnequalLengths


@dataclass(frozen=True)
class Curvature:
    """reading = c0 + c1 force + c2 force^2, with standard uncertainties of the three.

    `p_value` is that of a straight rig (two-sided t test of c2); `bend_percent` is how far the
    quadratic leaves its own chord at mid range, in percent of the range of readings.
    """

    coefficients: tuple[float, float, float]
    standard_uncertainties: tuple[float, float, float]
    residual_sd_N: float
    df: int
    p_value: float
    bend_percent: float


def curvature(force_N: ArrayLike, reading_N: ArrayLike) -> Curvature:
    """Fit the quadratic to n readings under known forces, in newtons.

    Raises UnequalLengths, NotFinite and TooFewCheckWeights (fewer than four different forces).
    """
    force, reading = np.asarray(force_N, float).ravel(), np.asarray(reading_N, float).ravel()
    if force.size != reading.size:
        raise UnequalLengths(f"{force.size} forces, {reading.size} readings")
    if not (np.isfinite(force).all() and np.isfinite(reading).all()):
        raise NotFinite("a force or reading is not a finite number")
    if np.unique(force).size < 4:
        raise TooFewCheckWeights("a curve takes at least four different check weights")
    scale = float(np.abs(force).max())
    q, r = np.linalg.qr(np.vander(force / scale, 3, increasing=True))
    scaled = np.linalg.solve(r, q.T @ reading)
    residuals = reading - q @ (q.T @ reading)
    df = force.size - 3
    variance = float(residuals @ residuals) / df
    inverse = np.linalg.solve(r, np.eye(3))
    powers = scale ** np.arange(3)
    coefficients = scaled / powers
    uncertainties = np.sqrt(variance * (inverse**2).sum(axis=1)) / powers
    t = abs(coefficients[2]) / uncertainties[2] if uncertainties[2] > 0 else np.inf
    bend = abs(coefficients[2]) * (float(np.ptp(force)) / 2) ** 2
    return Curvature(
        tuple(coefficients.tolist()),
        tuple(uncertainties.tolist()),
        variance**0.5,
        df,
        float(2 * stats.t.sf(t, df)),
        100 * bend / float(np.ptp(reading)),
    )
