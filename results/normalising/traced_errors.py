"""Errors that the traces of a set and of its straight line show, as they move its efficiency.

Readings stay as they were read: what a trace knows of their error is a part of the uncertainty and
no correction (GUM F.2.4.5). What all pulls of a series have in common is not in their scatter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import fsum, hypot
from typing import Literal, TypeAlias

from results.models import Baseline, NormalisedSet, PullSet, Trace
from results.normalising.scales import Scale
from results.statistics.failure_modes import MEANING
from rigs.metrology.budget import CommonErrors
from rigs.metrology.units import FORCE_UNITS

COUNTED = [mode for mode, meaning in MEANING.items() if meaning.counted]
COLUMNS = ("zero_of_pulls_log", "missed_peak_log")
_FIGURES = (
    "pull__reading_N", "zero_before_N", "zero_after_N", "step", "unit", "peak_N", "missed_peak_N",
    "u_missed_peak_N", "noise_excess_N",
)  # fmt: skip

Shown: TypeAlias = Sequence[tuple[float | None, float]]
"""Of each counted pull with a trace, newtons of reading: the zero that it was read from, if any,
and the root mean square of what its reading lacks of the peak."""


@dataclass(frozen=True)
class TracedErrors:
    """Mean errors of the counted pulls of a set and of its straight line, newtons of load."""

    joined: CommonErrors
    straight: CommonErrors

    def in_log_ratio(self, join_N: float, line_N: float) -> tuple[float, float]:
        """What zeros and missed peaks move ln(join_N / line_N) by, to first order, with signs.

        Where joins and straight line were recorded alike, most of both cancels.
        """
        joined, straight = self.joined, self.straight
        return (
            joined.zero_N / join_N - straight.zero_N / line_N,
            joined.missed_N / join_N - straight.missed_N / line_N,
        )


def shown_by_traces(
    of: Literal["pull_set", "baseline"], owners: Iterable[int]
) -> dict[int, list[tuple[float | None, float]]]:
    """What traces show of the pulls of each set or baseline, by its id; none where it has none."""
    found: dict[int, list[tuple[float | None, float]]] = defaultdict(list)
    traces = Trace.objects.filter(
        **{f"pull__{of}__in": list(owners)}, pull__failure_mode__in=COUNTED
    )
    for owner, *figures in traces.order_by("pull_id").values_list(f"pull__{of}_id", *_FIGURES):
        found[owner].append(_of_one(*figures))
    return found


def traced_errors(
    joined: Shown, straight: Shown, counted: tuple[int, int], offset_N: float, gain: float
) -> TracedErrors | None:
    """By what traces show; ``counted`` are the pulls of the join and the straight ones.

    Of pulls without a trace nothing is known, and nothing is added. None where there is no trace.
    """
    if not joined and not straight:
        return None
    both = zip((joined, straight), counted, strict=True)
    return TracedErrors(*(_mean(shown, pulls, offset_N, gain) for shown, pulls in both))


def traced_columns(
    errors: TracedErrors | None, join_N: float, line_N: float
) -> dict[str, float | None]:
    """What is stored of a set by what its traces show; empty where there is no trace."""
    moved = errors.in_log_ratio(join_N, line_N) if errors else (None, None)
    return dict(zip(COLUMNS, moved, strict=True))


def traced_errors_of(found: NormalisedSet, pull_set: PullSet, scale: Scale) -> TracedErrors | None:
    """By the traces as stored; None where there is none of either."""
    baseline = found.baseline
    alike = {"session": baseline.session_id, "line": baseline.line_id, "spool": baseline.spool}
    parts = Baseline.objects.filter(**alike).values_list("pk", flat=True)
    return traced_errors(
        shown_by_traces("pull_set", [pull_set.pk]).get(pull_set.pk, []),
        [each for part in shown_by_traces("baseline", parts).values() for each in part],
        (found.counted, found.baseline_counted),
        *scale.line,
    )


def _mean(shown: Shown, pulls: int, offset_N: float, gain: float) -> CommonErrors:
    # Summed exactly, so that the order of pulls makes no difference to the last digit.
    zero_N = fsum(zero - offset_N for zero, _ in shown if zero is not None)
    missed_N = fsum(missed for _, missed in shown)
    return CommonErrors(zero_N / gain / pulls, missed_N / gain / pulls)


def _of_one(
    reading_N: float | None,
    zero_before_N: float | None,
    zero_after_N: float | None,
    step: float,
    unit: str,
    peak_N: float,
    missed_N: float,
    u_missed_N: float,
    excess_N: float,
) -> tuple[float | None, float]:
    """A reading that somebody took off a scale that holds its peak was not sampled so."""
    zeros = [each for each in (zero_before_N, zero_after_N) if each is not None]
    zero_N = sum(zeros) / len(zeros) if zeros else None
    if reading_N is None or abs(reading_N - peak_N) > step * FORCE_UNITS[unit] / 2:
        return zero_N, 0.0
    return zero_N, hypot(missed_N - excess_N, u_missed_N)
