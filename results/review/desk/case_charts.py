"""The two pictures of a case as places on a canvas: its pulls beside the pool, its straight line.

Only geometry is worked out here, in units of the canvas; a template draws it, in the colours of
the reader's scheme and as wide as the screen.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext_lazy as _

THIS_SESSION, SAME_RIG, OTHER_RIGS = "this session", "same rig, other sessions", "other testers"
KINDS = {THIS_SESSION: "own", SAME_RIG: "same", OTHER_RIGS: "others"}

WIDTH, EDGE, ROW, DAYS_HEIGHT = 360.0, 12.0, 46.0, 190.0
"""Of the canvas, as wide as a small phone: text that is drawn on it can be read there."""

LEFT_OF_DAYS = 44.0
TICKS = 5


@dataclass(frozen=True)
class StraightMean:
    """Mean straight strength of one session."""

    day: date
    mean_N: float
    whose: str


@dataclass(frozen=True)
class Series:
    """Values in percent under a heading; of each whether it is exact, else it is at least that."""

    heading: object
    kind: str
    values: Sequence[tuple[float, bool]]
    interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class Mark:
    """One value on the canvas."""

    x: float
    y: float
    kind: str
    exact: bool = True


@dataclass(frozen=True)
class Row:
    """One series on the canvas, with its interval as a bar from ``low``, ``width`` long."""

    heading: object
    y: float
    marks: Sequence[Mark]
    low: float = 0.0
    width: float = 0.0


@dataclass(frozen=True)
class Tick:
    """A figure of a scale, and where it stands."""

    at: float
    text: str


@dataclass(frozen=True)
class Picture:
    """A canvas of WIDTH by ``height``, with what stands on it."""

    height: float
    rows: Sequence[Row] = ()
    marks: Sequence[Mark] = ()
    across: Sequence[Tick] = ()
    up: Sequence[Tick] = ()
    width: float = WIDTH


@dataclass(frozen=True)
class Scale:
    """Places between ``start`` and ``end`` for values from ``low`` to ``high``."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        span = self.high - self.low
        share = (value - self.low) / span if span else 0.5
        return round(self.start + share * (self.end - self.start), 1)

    def ticks(self) -> list[Tick]:
        steps = [self.low + (self.high - self.low) * step / (TICKS - 1) for step in range(TICKS)]
        return [Tick(self.at(step), f"{step:.0f}") for step in steps]


def pulls(series: Sequence[Series]) -> Picture:
    """Each series of percentages as a row of marks, all on one scale."""
    shown = [each for each in series if each.values or each.interval]
    values = [value for each in shown for value, _exact in each.values]
    values += [end for each in shown for end in each.interval or ()]
    scale = _scale(values, EDGE, WIDTH - EDGE)
    rows = [_row(each, number, scale) for number, each in enumerate(shown)]
    return Picture(height=ROW * len(rows) + 26, rows=rows, across=scale.ticks())


def _row(series: Series, number: int, scale: Scale) -> Row:
    y = ROW * number + 32
    marks = [Mark(scale.at(value), y, series.kind, exact) for value, exact in series.values]
    if series.interval is None:
        return Row(series.heading, y, marks)
    low, high = map(scale.at, series.interval)
    return Row(series.heading, y, marks, low, max(round(high - low, 1), 1.0))


def straight_line(means: Sequence[StraightMean]) -> Picture:
    """Mean straight strength in newtons by day: this session, this rig, other testers."""
    up = _scale([mean.mean_N for mean in means], DAYS_HEIGHT - 30, 14)
    days = [mean.day.toordinal() for mean in means]
    across = Scale(min(days, default=0), max(days, default=0), LEFT_OF_DAYS + 8, WIDTH - EDGE)
    marks = [
        Mark(across.at(mean.day.toordinal()), up.at(mean.mean_N), KINDS[mean.whose])
        for mean in sorted(means, key=lambda mean: mean.whose == THIS_SESSION)
    ]
    ends = sorted({min(days), max(days)}) if days else []
    return Picture(
        height=DAYS_HEIGHT,
        marks=marks,
        across=[Tick(across.at(day), date.fromordinal(day).isoformat()) for day in ends],
        up=up.ticks(),
    )


def _scale(values: Iterable[float], start: float, end: float) -> Scale:
    """A scale that has some room on both sides of what stands on it."""
    known = list(values) or [0.0, 100.0]
    room = max(0.05 * (max(known) - min(known)), 1.0)
    return Scale(min(known) - room, max(known) + room, start, end)


STRAIGHT_PULLS = _("straight line, each pull")
THIS_SET = _("this set, each pull")
OWN_SETS = _("the tester's other sets, means")
OTHERS = _("other testers' sets, means")
POOL = _("the pool without this set, with its interval")
