"""Traces of an upload: checked, described, and as rows not yet stored."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext
from numpy.typing import NDArray

from results.intake.document import PullDocument, TraceDocument
from results.intake.findings import Findings, shown
from results.intake.limits import LEAST_SAMPLES
from results.models import Pull, Trace
from results.models.traces import FIGURES
from rigs.metrology.bounds import (
    EARLIEST_DAY,
    TRACE_FORCE_N,
    Bounds,
    TRACE_DURATION_s,
    TRACE_TIME_s,
    latest_day,
)
from rigs.metrology.errors import MetrologyError
from rigs.metrology.traces.encoding import decode, encode
from rigs.metrology.traces.pull import TraceFigures, describe
from rigs.metrology.units import FORCE_UNITS, UnitError, force_unit
from rigs.refusals import Finding

Floats = NDArray[np.float64]

MOST_DECIMALS = 6
"""Of a force as written: a millionth of a gram-force is beyond every load cell."""


@dataclass(frozen=True)
class Traced:
    """A trace that can be stored; ``unit`` is the symbol of its unit, ``decimals`` how finely its
    forces are written."""

    time_s: Floats
    force: Floats
    unit: str
    decimals: int
    started_at: datetime | None
    figures: TraceFigures

    @property
    def step_N(self) -> float:
        """The step that forces are written in."""
        return float(10.0**-self.decimals * FORCE_UNITS[self.unit])

    @property
    def peak_N(self) -> float:
        """The highest sample, as it is read."""
        return float(self.peak_written) * FORCE_UNITS[self.unit]

    @property
    def peak_written(self) -> str:
        """The highest sample, as its logger writes forces."""
        return f"{self.force.max():.{self.decimals}f}"

    def row(self, pull: Pull) -> Trace:
        """The row of this trace, not stored."""
        return Trace(pull=pull, **self.columns())

    def columns(self) -> dict[str, Any]:
        """What is stored of it beside its pull."""
        step = 10.0**-self.decimals
        found = self.figures
        return {
            "samples": encode(self.time_s, self.force, step),
            "count": len(self.force),
            "unit": self.unit,
            "step": step,
            "started_at": self.started_at,
            "slips": [[slip.time_s, slip.from_N, slip.to_N] for slip in found.slips],
            "hold": found.hold and list(astuple(found.hold)),
            **{name: getattr(found, name) for name in FIGURES},
        }


def traces_of(pulls: Sequence[PullDocument], place: str, findings: Findings) -> dict[int, Traced]:
    """The traces of one part by the index of their pull; findings of those that can't be."""
    found = {}
    for index, pull in enumerate(pulls):
        if pull.trace is not None:
            sound = traced(pull.trace, f"{place}.pulls[{index}].trace", findings)
            if sound is not None:
                found[index] = sound
    return found


def reads_by_trace(pull: PullDocument) -> bool:
    """Whether the peak of its trace has to stand for a reading; none is asked of a void pull."""
    return pull.reading in (None, "") and pull.failure_mode != "void"


def traced(said: TraceDocument, place: str, findings: Findings) -> Traced | None:
    """A trace as it can be stored; None, and findings, where it can't be."""
    before = findings.number
    try:
        unit = force_unit(said.unit)
    except UnitError as error:
        findings.add(place, "unit", shown(said.unit), error.expected)
        return None
    time_s, force = np.array(said.time_s, dtype=float), np.array(said.force, dtype=float)
    findings.extend(_of_lengths(place, len(time_s), len(force)))
    findings.extend(_of_start(place, said.started_at))
    if findings.number > before:
        return None
    in_unit = TRACE_FORCE_N.times(1 / FORCE_UNITS[unit])
    findings.extend(_outside(place, "time_s", time_s, TRACE_TIME_s, "s"))
    findings.extend(_outside(place, "force", force, in_unit, unit))
    findings.extend(_of_clock(place, time_s))
    if findings.number > before:
        return None
    try:
        figures = describe(time_s, force * FORCE_UNITS[unit])
    except MetrologyError as error:
        findings.add(place, "force", str(error), gettext("the rise and the break of one pull"))
        return None
    return Traced(time_s, force, unit, _decimals(force), said.started_at, figures)


def _of_lengths(place: str, times: int, forces: int) -> Iterator[Finding]:
    if times != forces:
        yield Finding(
            place,
            "force",
            gettext("%(forces)s values") % {"forces": forces},
            gettext("as many as there are in time_s, %(times)s") % {"times": times},
        )
    elif times < LEAST_SAMPLES:
        yield Finding(
            place,
            "force",
            gettext("%(forces)s values") % {"forces": forces},
            gettext("at least %(least)s samples") % {"least": LEAST_SAMPLES},
        )


def _of_start(place: str, started_at: datetime | None) -> Iterator[Finding]:
    if started_at is None:
        return
    latest = latest_day(timezone.now())
    if not EARLIEST_DAY <= started_at.date() <= latest:
        yield Finding(
            place,
            "started_at",
            started_at.isoformat(),
            gettext("a moment from %(first)s to %(latest)s")
            % {"first": EARLIEST_DAY, "latest": latest},
        )


def _outside(place: str, name: str, values: Floats, bounds: Bounds, unit: str) -> Iterator[Finding]:
    """The first value that is not within bounds; NaN is not."""
    sound = (values >= bounds.lowest) & (values <= bounds.highest)
    if not sound.all():
        first = int(np.argmin(sound))
        yield Finding(
            place,
            f"{name}[{first}]",
            shown(float(values[first])),
            gettext("a number %(bounds)s %(unit)s") % {"bounds": bounds, "unit": unit},
        )


def _of_clock(place: str, time_s: Floats) -> Iterator[Finding]:
    back = np.diff(time_s) < 0
    if back.any():
        at = int(np.argmax(back)) + 1
        yield Finding(
            place,
            f"time_s[{at}]",
            shown(float(time_s[at])),
            gettext("at least %(before)s, the second before it: a clock doesn't run back")
            % {"before": shown(float(time_s[at - 1]))},
        )
    elif not TRACE_DURATION_s.holds(float(time_s[-1] - time_s[0])):
        yield Finding(
            place,
            "time_s",
            gettext("%(seconds)s s from first to last") % {"seconds": f"{np.ptp(time_s):.6g}"},
            gettext("one pull of %(bounds)s s") % {"bounds": TRACE_DURATION_s},
        )


def _decimals(force: Floats) -> int:
    """The decimals that these numbers are written with."""
    near = 1e-9 * max(1.0, float(np.abs(force).max()))
    for decimals in range(MOST_DECIMALS):
        if np.abs(np.round(force, decimals) - force).max() <= near:
            return decimals
    return MOST_DECIMALS


def samples_of(trace: Trace) -> tuple[list[float], list[float]]:
    """Seconds and forces of a stored trace, in its unit, as they were written."""
    time_s, force = decode(bytes(trace.samples))
    return list(map(float, time_s)), list(map(float, force))
