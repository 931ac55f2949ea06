"""Force over time on a picture: places of samples, thinned to what a screen can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]


@dataclass(frozen=True)
class Plane:
    """A rectangle of pixels, ``left`` and ``top`` its corner, over a stretch of time and force."""

    times: tuple[float, float]
    forces: tuple[float, float]
    width: float
    height: float
    left: float = 0.0
    top: float = 0.0

    def x(self, time: float) -> float:
        """The place of a time, from the left."""
        return round(float(self._x(np.array([time]))[0]), 1)

    def y(self, force: float) -> float:
        """The place of a force, from above."""
        return round(float(self._y(np.array([force]))[0]), 1)

    def line(self, times: Column, forces: Column) -> str:
        """Points of a polyline: the first, lowest, highest and last of each half pixel or so.

        Times must not run back. No peak is lost, however many samples there are.
        """
        columns = np.round(self._x(times)).astype(int)
        starts = np.flatnonzero(np.diff(columns, prepend=columns[:1] - 1))
        kept = {0, times.size - 1}
        for first, last in zip(starts, [*starts[1:], times.size], strict=True):
            part = forces[first:last]
            kept |= {int(first + part.argmin()), int(first + part.argmax())}
        chosen = sorted(kept)
        places = zip(self._x(times[chosen]), self._y(forces[chosen]), strict=True)
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in places)

    def _x(self, times: Column) -> Column:
        return self.left + self.width * (times - self.times[0]) / _span(self.times)

    def _y(self, forces: Column) -> Column:
        return self.top + self.height * (1 - (forces - self.forces[0]) / _span(self.forces))


def _span(ends: tuple[float, float]) -> float:
    return (ends[1] - ends[0]) or 1.0
