"""Errors that the traces of a set and of its straight line show, as they move its efficiency.

Readings stay as they were read: what a trace knows of their error is a part of the uncertainty and
no correction (GUM F.2.4.5). What all pulls of a series have in common is not in their scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from results.models import NormalisedSet, Pull, PullSet, Trace
from results.normalising.scales import Scale
from results.statistics.failure_modes import counted
from rigs.metrology.budget import CommonErrors
from rigs.metrology.units import FORCE_UNITS


@dataclass(frozen=True)
class TracedErrors:
    """Mean errors of the counted pulls of a set and of its straight line, newtons of load."""

    joined: CommonErrors
    straight: CommonErrors


def traced_errors_of(found: NormalisedSet, pull_set: PullSet, scale: Scale) -> TracedErrors | None:
    """By the traces as stored; None where there is none of either."""
    baseline = found.baseline
    alike = {"session": baseline.session_id, "line": baseline.line_id, "spool": baseline.spool}
    straight = Pull.objects.filter(**{f"baseline__{name}": value for name, value in alike.items()})
    of_set, of_straight = list(pull_set.pulls.all()), list(straight)
    wanted = [pull.pk for pull in (*of_set, *of_straight)]
    rows = Trace.objects.filter(pull__in=wanted).defer("samples")
    traces = {trace.pull_id: trace for trace in rows}
    if not traces:
        return None
    return TracedErrors(_mean(of_set, traces, scale), _mean(of_straight, traces, scale))


def _mean(pulls: Sequence[Pull], traces: dict[int, Trace], scale: Scale) -> CommonErrors:
    """Of pulls without a trace nothing is known, and nothing is added."""
    counts = counted([pull.failure_mode for pull in pulls])
    kept = [pull for pull, counts_too in zip(pulls, counts, strict=True) if counts_too]
    known = [(pull, traces[pull.pk]) for pull in kept if pull.pk in traces]
    if not known:
        return CommonErrors(0.0, 0.0)
    offset_N = scale.calibration.offset_N if scale.calibration else 0.0
    gain = scale.calibration.gain if scale.calibration else 1.0
    zero_N = sum(_zero_N(trace, offset_N) for _, trace in known)
    missed_N = sum(_missed_N(pull, trace) for pull, trace in known)
    return CommonErrors(zero_N / gain / len(kept), missed_N / gain / len(kept))


def _zero_N(trace: Trace, offset_N: float) -> float:
    """What the cell read without load, less what its calibration says that it reads then."""
    zeros = [each for each in (trace.zero_before_N, trace.zero_after_N) if each is not None]
    return sum(zeros) / len(zeros) - offset_N if zeros else 0.0


def _missed_N(pull: Pull, trace: Trace) -> float:
    """The root mean square of what the reading lacks of the peak, where it is the trace's own.

    A reading that somebody took off a scale that holds its peak was not sampled so.
    """
    step_N = trace.step * FORCE_UNITS[trace.unit]
    if pull.reading_N is None or abs(pull.reading_N - trace.peak_N) > step_N / 2:
        return 0.0
    return hypot(trace.missed_peak_N - trace.noise_excess_N, trace.u_missed_peak_N)
