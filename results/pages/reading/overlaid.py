"""The traces of a set on one picture, each from the beginning of its load to its break."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import QuerySet

from results.models import Baseline, Pull, PullSet, Trace
from results.pages.planes import Column, Plane
from results.statistics.failure_modes import EXACT
from rigs.metrology.traces.encoding import decode
from rigs.metrology.units import FORCE_UNITS

WIDTH, HEIGHT = 340.0, 210.0
"""About a small phone's width: what is written in it can be read there."""
LEFT, ABOVE, BELOW, RIGHT = 34.0, 14.0, 20.0, 12.0
MOST_DRAWN = 60
"""Of each kind; with more, lines hide each other, and the page grows."""
MOST_NUMBERED = 12
AFTER_BREAK_SHARE = 0.03
"""Of the longest pull: how much of the fall after a break is drawn."""
TICKS = 6
BESIDE = (4.0, -3.0)
"""From a peak to its number, in units of the canvas."""
DIGITS = (13.0, 12.0)
"""Room for two digits, across and down."""


@dataclass(frozen=True)
class Tick:
    """A figure of an axis, and where it stands."""

    at: float
    value: float


@dataclass(frozen=True)
class Course:
    """One pull: its number in its set, what it is of, and whether its peak is only 'at least'."""

    number: int
    failure_mode: str
    is_straight: bool
    at_least: bool
    peak_N: float
    points: str
    peak_x: float
    peak_y: float


@dataclass(frozen=True)
class Number:
    """The number of a pull beside its peak, where its text begins, and the peak itself."""

    number: int
    x: float
    y: float
    peak_x: float
    peak_y: float


@dataclass(frozen=True)
class Overlay:
    """All courses, straight line first, and the axes: seconds across and newtons up.

    ``numbers`` are of the joined pulls, none where there are too many to be read.
    """

    courses: Sequence[Course]
    left_out: int
    across: Sequence[Tick]
    up: Sequence[Tick]
    numbers: Sequence[Number]


@dataclass(frozen=True)
class _Drawn:
    """Samples of one pull from its beginning on, in seconds and newtons of reading."""

    pull: Pull
    times: Column
    forces: Column
    peak: int


def overlay_of(pull_set: PullSet, baselines: Iterable[Baseline]) -> Overlay | None:
    """The pulls of a set and of its straight line that have a trace; None where none has."""
    joined = _drawn(Trace.objects.filter(pull__pull_set=pull_set.pk))
    if not joined:
        return None
    of_straight = Trace.objects.filter(pull__baseline__in=[each.pk for each in baselines])
    straight = _drawn(of_straight)
    shown = [*straight[:MOST_DRAWN], *joined[:MOST_DRAWN]]
    plane = _plane(shown)
    courses = [_course(each, plane) for each in shown]
    return Overlay(
        courses=courses,
        left_out=len(straight) + len(joined) - len(shown),
        across=[Tick(plane.x(value), value) for value in _round_figures(plane.times[1])],
        up=[Tick(plane.y(value), value) for value in _round_figures(plane.forces[1])],
        numbers=_numbers(courses) if len(joined) <= MOST_NUMBERED else (),
    )


def _drawn(traces: QuerySet[Trace]) -> list[_Drawn]:
    drawn = []
    for trace in traces.select_related("pull").order_by("pull__number"):
        times, forces = decode(bytes(trace.samples))
        peak = forces.size - 1 - int(np.argmax(forces[::-1]))
        started = times[peak] - (trace.time_to_break_s or 0.0)
        first = min(int(np.searchsorted(times, started)), peak)
        newtons = forces[first:] * FORCE_UNITS[trace.unit]
        drawn.append(_Drawn(trace.pull, times[first:] - times[first], newtons, peak - first))
    return drawn


def _plane(shown: Sequence[_Drawn]) -> Plane:
    longest = max(float(each.times[each.peak]) for each in shown)
    highest = max(float(each.forces[each.peak]) for each in shown)
    return Plane(
        (0.0, longest * (1 + AFTER_BREAK_SHARE) or 1.0),
        (0.0, highest or 1.0),
        WIDTH - LEFT - RIGHT,
        HEIGHT - ABOVE - BELOW,
        left=LEFT,
        top=ABOVE,
    )


def _course(drawn: _Drawn, plane: Plane) -> Course:
    peak_s = float(drawn.times[drawn.peak])
    rest_s = plane.times[1] * AFTER_BREAK_SHARE
    last = int(np.searchsorted(drawn.times, min(peak_s + rest_s, plane.times[1]), side="right"))
    forces = np.maximum(drawn.forces[:last], 0.0)
    pull, peak_N = drawn.pull, float(drawn.forces[drawn.peak])
    is_straight = pull.baseline_id is not None
    return Course(
        number=pull.number,
        failure_mode=pull.failure_mode,
        is_straight=is_straight,
        at_least=pull.failure_mode not in (("line",) if is_straight else EXACT),
        peak_N=peak_N,
        points=plane.line(drawn.times[:last], forces),
        peak_x=plane.x(peak_s),
        peak_y=plane.y(peak_N),
    )


def _numbers(courses: Sequence[Course]) -> list[Number]:
    """One beside each peak of a joined pull, moved down from where another stands already.

    From the highest peak on, so that they stand in the order of the peaks.
    """
    placed: list[Number] = []
    joined = [each for each in courses if not each.is_straight]
    for course in sorted(joined, key=lambda each: each.peak_y):
        x, y = course.peak_x + BESIDE[0], course.peak_y + BESIDE[1]
        while any(abs(one.x - x) < DIGITS[0] and abs(one.y - y) < DIGITS[1] for one in placed):
            y += DIGITS[1]
        placed.append(Number(course.number, round(x, 1), round(y, 1), course.peak_x, course.peak_y))
    return placed


def _round_figures(highest: float) -> list[float]:
    """Up to five round figures from zero on: steps of 1, 2 or 5 times a power of ten."""
    rough = highest / TICKS
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(power * each for each in (1, 2, 5, 10) if power * each >= rough)
    return [float(each) for each in np.arange(0, highest + 1e-9, step)]
