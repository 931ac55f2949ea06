"""What all of this package needs of samples: checks, noise, steps and steady levels."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.errors import NotFinite, OutsideTheFormula, TooFewSamples, UnequalLengths

Column = NDArray[np.float64]

LARGEST_FORCE = 1e9
"""In any unit: far above what breaks, and far from where floating point ends."""
LATEST_s = 1e11
"""Three thousand years, so that a clock may count from any epoch."""
_OF_SECOND_DIFFERENCES = math.sqrt(6)
"""Standard deviation of x[i-1] - 2 x[i] + x[i+1] over that of independent x."""
_OF_THE_MEDIAN = 1.4826
"""Standard deviation of a normal over its median absolute deviation."""


def columns(time_s: ArrayLike, force: ArrayLike, *, least: int) -> tuple[Column, Column]:
    """Both as arrays. Raises UnequalLengths, TooFewSamples, NotFinite, OutsideTheFormula."""
    times, forces = np.asarray(time_s, float).ravel(), np.asarray(force, float).ravel()
    if times.size != forces.size:
        raise UnequalLengths(f"{times.size} times, {forces.size} forces")
    if times.size < least:
        raise TooFewSamples(f"{times.size} samples; it takes {least}")
    for name, values, limit in (("time", times, LATEST_s), ("force", forces, LARGEST_FORCE)):
        if not np.isfinite(values).all():
            raise NotFinite(f"sample {int(np.argmin(np.isfinite(values)))} has no finite {name}")
        if np.abs(values).max() > limit:
            raise OutsideTheFormula(f"a {name} beyond {limit:g}")
    return times, forces


def noise_of(forces: Column) -> float:
    """Standard deviation from one sample to the next, whatever the slope.

    From second differences, in which a straight rise is nothing; their median passes over
    breaks. Zero where the step hides the noise.
    """
    if forces.size < 5:
        return 0.0
    deviations = np.abs(np.diff(forces, 2))
    return float(_OF_THE_MEDIAN * np.median(deviations) / _OF_SECOND_DIFFERENCES)


def scatter_of(forces: Column) -> float:
    """Standard deviation about the median, by the median of the distances from it."""
    return float(_OF_THE_MEDIAN * np.median(np.abs(forces - np.median(forces))))


def step_of(forces: Column) -> float:
    """The smallest difference between two values, rounding apart; zero where all are alike."""
    values = np.unique(forces)
    if values.size < 2:
        return 0.0
    differences = np.diff(values)
    real = differences[differences > 1e-9 * max(1e-6, float(np.abs(values).max()))]
    return float(real.min()) if real.size else 0.0


def interval_of(times: Column) -> float:
    """Seconds from one sample to the next: the median, or the mean where clock ticks repeat."""
    intervals = np.diff(times)
    median = float(np.median(intervals)) if intervals.size else 0.0
    mean = float(np.mean(intervals[intervals >= 0])) if (intervals >= 0).any() else 0.0
    return median if median > 0 and (intervals > 0).mean() > 0.9 else mean


def steady_level(forces: Column) -> tuple[float, float]:
    """Median and width of the shortest half of the values: where most of them are.

    Rousseeuw & Leroy 1988, Statistica Neerlandica 42:103 (from memory). What rises from zero or
    rings about it for less than half of the time doesn't move it.
    """
    ordered = np.sort(forces)
    half = ordered.size // 2 + 1
    widths = ordered[half - 1 :] - ordered[: ordered.size - half + 1]
    first = int(np.argmin(widths))
    return float(np.median(ordered[first : first + half])), float(widths[first])


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The runs of true values, half-open."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]
