"""Control charts: has the rig moved?

Vocabulary of ISO 7870 (centre line, control limits, signal). Individuals: ISO 7870-2 (Shewhart
1931), limits at three standard deviations, moving ranges over d2 = 2/sqrt(pi). EWMA: ISO 7870-6
(Roberts 1959), exact limits. CUSUM: ISO 7870-4 (Page 1954), tabular form. Worked examples of
NIST/SEMATECH 6.3.2.3 and 6.3.2.4 in tests/metrology.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues

D2_OF_TWO = 2 / sqrt(pi)
"""Mean range of two normal values, in standard deviations."""


@dataclass(frozen=True)
class ControlChart:
    """What is plotted, its centre line and limits, and where it signals (indices from 0)."""

    plotted: NDArray[np.float64]
    centre_line: float
    lower_limit: NDArray[np.float64]
    upper_limit: NDArray[np.float64]

    @property
    def signals(self) -> tuple[int, ...]:
        outside = (self.plotted < self.lower_limit) | (self.plotted > self.upper_limit)
        return tuple(np.flatnonzero(outside).tolist())


@dataclass(frozen=True)
class CusumChart:
    """Cumulated excess above and below the target, and where one passes the decision interval."""

    high: NDArray[np.float64]
    low: NDArray[np.float64]
    decision_interval: float

    @property
    def signals(self) -> tuple[int, ...]:
        beyond = (self.high > self.decision_interval) | (self.low > self.decision_interval)
        return tuple(np.flatnonzero(beyond).tolist())


def moving_range_sd(values: ArrayLike) -> float:
    """Standard deviation from the mean moving range of successive values (ISO 7870-2).

    Raises TooFewValues for fewer than two, and NotFinite.
    """
    points = _series(values, least=2)
    return float(np.abs(np.diff(points)).mean()) / D2_OF_TWO


def individuals_chart(values: ArrayLike, centre_line: float, sd: ArrayLike) -> ControlChart:
    """Values against limits at three sd, one for all or one a value. Raises as `ewma_chart`."""
    points, each_sd = _series(values), _spread(sd)
    half = 3 * np.broadcast_to(each_sd, points.shape)
    return ControlChart(points, centre_line, centre_line - half, centre_line + half)


def ewma_chart(
    values: ArrayLike, centre_line: float, sd: float, weight: float = 0.3, width: float = 3.0
) -> ControlChart:
    """Exponentially weighted moving average, begun at the centre line, with exact limits.

    `weight` is that of the newest value, `width` the limits' distance in sd of the average.
    Raises TooFewValues, NotFinite and NotPositive.
    """
    points, steps = _series(values), np.arange(1, np.size(values) + 1)
    if not 0 < weight <= 1:
        raise NotPositive(f"weight: found {weight}, expected above 0 and at most 1")
    averages, average = np.empty_like(points), centre_line
    for i, point in enumerate(points):
        average = weight * point + (1 - weight) * average
        averages[i] = average
    half = width * _spread(sd) * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * steps)))
    return ControlChart(averages, centre_line, centre_line - half, centre_line + half)


def cusum_chart(
    values: ArrayLike, target: float, allowance: float, decision_interval: float
) -> CusumChart:
    """Tabular CUSUM; allowance k and decision interval h in the unit of the values.

    Raises TooFewValues and NotFinite.
    """
    points = _series(values)
    high, low = np.zeros(points.size), np.zeros(points.size)
    above = below = 0.0
    for i, point in enumerate(points):
        above = max(0.0, above + point - target - allowance)
        below = max(0.0, below + target - allowance - point)
        high[i], low[i] = above, below
    return CusumChart(high, low, decision_interval)


def _series(values: ArrayLike, least: int = 1) -> NDArray[np.float64]:
    points = np.asarray(values, float).ravel()
    if points.size < least:
        raise TooFewValues(f"found {points.size} values, expected at least {least}")
    if not np.isfinite(points).all():
        raise NotFinite("a value of the chart is not a finite number")
    return points


def _spread(sd: ArrayLike) -> NDArray[np.float64]:
    spread = np.asarray(sd, float)
    if not (np.isfinite(spread) & (spread > 0)).all():
        raise NotPositive("the standard deviation of a chart must be above zero")
    return spread
