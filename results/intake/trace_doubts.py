"""What is unusual in the traces of an upload: asked about before the peaks become readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext, ngettext

from results.intake.parts import JoinedPart, Pulled, StraightPart
from results.intake.readings import in_unit
from results.intake.traces import Traced
from rigs.metrology.errors import MetrologyError
from rigs.metrology.traces.cutting import cut
from rigs.metrology.traces.faults import Fault, FaultCode
from rigs.metrology.traces.faulty import is_off, usual_zero_N
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Finding

DEEP_SLIP = 0.1
"""Of the peak: a shallower fall may be a winch's; common practice, no source."""
TURNED = 3.0
"""Times the highest force that the lowest lies below zero in a trace that is upside down."""
ONE_DAY = timedelta(days=1)
"""A session's day is the tester's, and a trace's moment is in UTC."""


def doubts_of_traces(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], pulled_on: date
) -> list[Finding]:
    """Findings at the pulls whose traces show that their peak may not be the load."""
    traced = [
        (f"{part.place}.pulls[{index}]", part, index, trace)
        for part in (*straight, *joined)
        for index, trace in part.readings.traces.items()
        if part.pulls[index].failure_mode != "void"
    ]
    usual_N = usual_zero_N([trace.figures for *_, trace in traced])
    return [
        Finding(place, "trace", found, expected)
        for place, part, index, trace in traced
        for found, expected in (
            *_of_peak(part, index, trace),
            *_of_zero(trace, usual_N),
            *_of_slip(part, index, trace),
            *_of_day(trace, pulled_on),
        )
    ]


def _of_peak(part: Pulled, index: int, trace: Traced) -> Iterator[tuple[str, str]]:
    """By what is wrong with the top of the trace."""
    force_N = trace.force * FORCE_UNITS[trace.unit]
    if -float(force_N.min()) > TURNED * float(force_N.max()):
        yield (
            gettext("forces down to %(lowest)s")
            % {"lowest": in_unit(float(force_N.min()), trace.unit)},
            gettext("forces that rise as the line is pulled: turn their sign"),
        )
        return
    try:
        found = cut(trace.time_s, force_N)
    except MetrologyError:
        return
    if len(found.pulls) > 1:
        yield (
            ngettext(
                "%(pulls)d pull in one trace", "%(pulls)d pulls in one trace", len(found.pulls)
            )
            % {"pulls": len(found.pulls)},
            gettext("one: the highest of them became the reading"),
        )
    is_bound = part.pulls[index].failure_mode == "none"
    peak = int(np.argmax(force_N))
    for fault in found.faults:
        yield from _in_words(fault, trace.unit, peak, is_bound=is_bound)


def _in_words(fault: Fault, unit: str, peak: int, *, is_bound: bool) -> Iterator[tuple[str, str]]:
    """``is_bound``: the pull is entered as held to the end of travel, at least its reading."""
    numbers = {
        name: in_unit(value, unit) if name.endswith("_N") else f"{value:.3g}"
        for name, value in fault.numbers.items()
    }
    at_least = gettext(
        "its highest point: the line held at least this, so leave the pull out, or enter it as "
        "held to the end of travel ('none')"
    )
    if fault.code == FaultCode.SATURATED and not is_bound:
        yield gettext("a flat top at %(force_N)s for %(seconds)s s") % numbers, at_least
    elif fault.code == FaultCode.PEAK_IN_GAP and not is_bound:
        yield (
            gettext("no sample for %(seconds)s s beside the highest, %(force_N)s") % numbers,
            (at_least),
        )
    elif fault.code == FaultCode.SPIKE and fault.index == peak:
        yield (
            gettext("one sample of %(force_N)s where those beside it read %(beside_N)s") % numbers,
            gettext("a peak that its neighbours lead up to: is it a spike, and no force?"),
        )


def _of_zero(trace: Traced, usual_N: float | None) -> Iterator[tuple[str, str]]:
    """By a load cell that rests away from zero, or from what the other traces rest at."""
    zero_N = trace.figures.zero_error_N
    if zero_N is None:
        return
    height_N, noise_N = trace.figures.peak_N - zero_N, trace.figures.noise_N
    before_N, after_N = trace.figures.zero_before_N, trace.figures.zero_after_N
    if (
        before_N is not None
        and after_N is not None
        and is_off(after_N - before_N, height_N, noise_N)
    ):
        yield (
            gettext("%(before)s without load before the pull, and %(after)s after it")
            % {"before": in_unit(before_N, trace.unit), "after": in_unit(after_N, trace.unit)},
            gettext("the same zero before and after: has it moved, or was the line still loaded?"),
        )
        return
    zero = {"zero": in_unit(zero_N, trace.unit)}
    if usual_N is not None and is_off(zero_N - usual_N, height_N, noise_N):
        yield (
            gettext("%(zero)s without load, and %(usual)s in most other traces")
            % {**zero, "usual": in_unit(usual_N, trace.unit)},
            gettext("the same zero in all: it has moved, and the reading is off by as much"),
        )
    elif is_off(zero_N, height_N, noise_N):
        yield (
            gettext("%(zero)s without load") % zero,
            gettext("zero: what the load cell rests at is in the reading too"),
        )


def _of_slip(part: Pulled, index: int, trace: Traced) -> Iterator[tuple[str, str]]:
    """By a deep fall before the peak that the pull does not say."""
    pull = part.pulls[index]
    if not isinstance(part, JoinedPart) or pull.slipped_first:
        return
    deepest = max(trace.figures.slips, key=lambda slip: slip.from_N - slip.to_N, default=None)
    if deepest is not None and is_deep(deepest.from_N - deepest.to_N, trace.figures.peak_N):
        yield (
            gettext("a fall from %(high)s to %(low)s before the peak")
            % {
                "high": in_unit(deepest.from_N, trace.unit),
                "low": in_unit(deepest.to_N, trace.unit),
            },
            gettext("'slipped first' with a join that slipped and held again"),
        )


def is_deep(fall_N: float, peak_N: float) -> bool:
    """Whether a fall on the way up is a slip worth a question."""
    return fall_N >= DEEP_SLIP * peak_N


def _of_day(trace: Traced, pulled_on: date) -> Iterator[tuple[str, str]]:
    began = trace.started_at
    if began is not None and abs(began.date() - pulled_on) > ONE_DAY:
        yield (
            gettext("a beginning on %(began)s") % {"began": began.date()},
            gettext("a moment of the session's day, %(day)s") % {"day": pulled_on},
        )
