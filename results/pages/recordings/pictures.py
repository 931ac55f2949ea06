"""The pictures of a recording: all of it with its peaks numbered, and each pull by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from results.pages.planes import Column, Plane
from rigs.metrology.traces.cutting import Cut, Part
from rigs.metrology.traces.faults import Fault

WIDTH, HEIGHT = 340.0, 150.0
"""Of the whole, about a small phone's width: what is written in it can be read there."""
PULL_HEIGHT = 110.0
ABOVE, BELOW = 16.0, 16.0
"""Pixels for what is written above the highest peak and below the axis."""


@dataclass(frozen=True)
class Mark:
    """A place on a picture, and what is written there."""

    x: float
    y: float
    text: str = ""


@dataclass(frozen=True)
class Whole:
    """The whole recording; ``seconds`` is how long it took, ``top`` the highest force in it."""

    points: str
    zero_y: float
    peaks: Sequence[Mark]
    faults: Sequence[Mark]
    seconds: float
    top: float


@dataclass(frozen=True)
class OnePull:
    """One pull, from the zero before it to the zero after it."""

    points: str
    zero_y: float
    peak: Mark
    faults: Sequence[Mark]
    seconds: float


def parts_of(cut: Cut) -> list[Part]:
    """Pulls and what is too low to be one, in the order they were recorded."""
    return sorted([*cut.pulls, *cut.left_out], key=lambda part: part.first)


def whole(times: Column, forces: Column, cut: Cut) -> Whole:
    """The recording with its peaks numbered as `parts_of` gives them, and its faults marked."""
    elapsed = np.concatenate([[0.0], np.cumsum(np.maximum(np.diff(times), 0.0))])
    plane = _plane((0.0, float(elapsed[-1])), forces, HEIGHT)
    return Whole(
        points=plane.line(elapsed, forces),
        zero_y=plane.y(0.0),
        peaks=[
            Mark(plane.x(elapsed[part.peak]), plane.y(forces[part.peak]), str(number))
            for number, part in enumerate(parts_of(cut), 1)
        ],
        faults=_marks(plane, elapsed, forces, cut.faults),
        seconds=float(elapsed[-1]),
        top=float(forces.max()),
    )


def one_pull(times: Column, forces: Column, part: Part, faults: Sequence[Fault]) -> OnePull:
    """One pull of a recording, with those of the faults that are within it."""
    here = slice(part.first, part.last)
    within = [fault for fault in faults if part.first <= fault.index < part.last]
    ends = float(times[part.first]), float(times[part.last - 1])
    plane = _plane(ends, forces[here], PULL_HEIGHT)
    return OnePull(
        points=plane.line(times[here], forces[here]),
        zero_y=plane.y(0.0),
        peak=Mark(plane.x(times[part.peak]), plane.y(forces[part.peak])),
        faults=_marks(plane, times, forces, within),
        seconds=ends[1] - ends[0],
    )


def _plane(times: tuple[float, float], forces: Column, height: float) -> Plane:
    ends = min(float(forces.min()), 0.0), max(float(forces.max()), 0.0)
    return Plane(times, ends, WIDTH - 2, height - ABOVE - BELOW, left=1, top=ABOVE)


def _marks(plane: Plane, times: Column, forces: Column, faults: Sequence[Fault]) -> list[Mark]:
    return [
        Mark(plane.x(times[fault.index]), plane.y(forces[fault.index]), str(fault.code))
        for fault in faults
    ]
