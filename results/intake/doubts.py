"""Warnings: what is unusual in an upload but possible. Its sender is warned; it is stored."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from django.utils.translation import gettext, ngettext

from results.intake.parts import JoinedPart, Pulled, StraightPart
from results.intake.readings import in_unit
from results.intake.sufficiency import by_specimen
from results.intake.traces import reads_by_trace
from rigs.metrology.units import FORCE_UNITS
from rigs.models import Line
from rigs.refusals import Finding

MIXED_UNITS = {
    "pounds-force and newtons": FORCE_UNITS["lbf"],
    "kilograms-force and newtons": FORCE_UNITS["kgf"],
}
NEAR = 0.15
"""How near, on the log scale, a factor has to be to one of ``MIXED_UNITS``: joins on the same
lines differ by less than a factor of two; common practice, no source."""


WILD_ABOVE, WILD_BELOW = 2.0, 0.25
"""Times the middle of its series beyond which a reading is asked about: a join that slips may hold
little, and none holds twice what the others do; common practice, no source."""
ABOVE_STRAIGHT = 1.15
"""Times the straight line beyond which a set is asked about; common practice, no source."""
PULL_ABOVE_STRAIGHT = 1.3
"""The same of a single pull, which scatters more than the middle; common practice, no source."""
LEAST_OF_A_SERIES = 3


def warnings_of(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], unit: str
) -> list[Finding]:
    """Every warning of one session; ``unit`` is the symbol of its unit."""
    return [
        *_other_units([*straight, *joined], unit),
        *_below_label(straight, unit),
        *_factor_between_sets(joined),
        *_taken_as_readings([*straight, *joined]),
    ]


def _taken_as_readings(parts: Iterable[Pulled]) -> Iterator[Finding]:
    """How many readings are the peaks of traces, as a warning; nothing where none is."""
    taken = sum(reads_by_trace(part.pulls[at]) for part in parts for at in part.readings.traces)
    if taken:
        yield Finding(
            "",
            "reading",
            ngettext("none at %(pulls)d pull", "none at %(pulls)d pulls", taken) % {"pulls": taken},
            gettext("a reading: the peak of the trace was taken, in the unit of the trace"),
        )


def _other_units(parts: Sequence[Pulled], unit: str) -> Iterator[Finding]:
    """Readings that show another unit than their session has, named once."""
    for part in parts:
        if set(part.readings.units) <= {unit}:
            continue
        for index, (pull, shown) in enumerate(zip(part.pulls, part.readings.units, strict=True)):
            if pull.unit is None and shown != unit:
                yield Finding(
                    f"{part.place}.pulls[{index}]",
                    "reading",
                    gettext("a reading in %(shown)s, taken as such") % {"shown": shown},
                    gettext("%(unit)s, the unit of the session; which is right?") % {"unit": unit},
                )
                return


def asked(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], resolution_N: float
) -> list[Finding]:
    """Readings so far from their series or their trace, and sets so far above their line, that
    they are asked about before anything is stored: a decimal point that slipped, or another unit.

    ``resolution_N`` is that of the rig.
    """
    parts: list[Pulled] = [*straight, *joined]
    return [
        *(each for part in parts for each in _wild(part)),
        *_apart_from_traces(parts, resolution_N),
        *_above_straight(straight, joined),
    ]


def _apart_from_traces(parts: Iterable[Pulled], resolution_N: float) -> Iterator[Finding]:
    """Readings apart from the peak of their trace.

    By more than the steps of both and what lies between two samples can explain.
    """
    for part in parts:
        for index, traced in part.readings.traces.items():
            if part.pulls[index].reading in (None, ""):
                continue
            reading_N = float(part.readings.newtons[index])
            missed_N = 2 * (traced.figures.missed_peak_N or 0.0)
            if abs(reading_N - traced.peak_N) <= resolution_N + traced.step_N + missed_N:
                continue
            yield Finding(
                f"{part.place}.pulls[{index}]",
                "reading",
                gettext("%(reading)s, and a trace that peaks at %(peak)s")
                % {
                    "reading": in_unit(reading_N, part.readings.units[index]),
                    "peak": in_unit(traced.peak_N, part.readings.units[index]),
                },
                gettext("the two to agree: is it the trace of this pull, and is the unit right?"),
            )


def _wild(part: Pulled) -> Iterator[Finding]:
    if np.count_nonzero(part.counted) < LEAST_OF_A_SERIES:
        return
    middle = float(np.median(part.readings.newtons[part.counted]))
    for index in np.flatnonzero(part.counted):
        times = float(part.readings.newtons[index]) / middle
        if WILD_BELOW <= times <= WILD_ABOVE:
            continue
        yield Finding(
            f"{part.place}.pulls[{index}]",
            "reading",
            gettext("%(reading)s, %(times)s times the middle of its series")
            % {"reading": part.readings.written[index], "times": f"{times:.3g}"},
            gettext("a reading nearer to the others: is the decimal point right?"),
        )


def _above_straight(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart]
) -> Iterator[Finding]:
    middles = {
        specimen: float(
            np.median(
                np.concatenate([part.readings.newtons[part.parted_in_line] for part in parts])
            )
        )
        for specimen, parts in by_specimen(straight).items()
    }
    for part in joined:
        if part.row is None or not part.counted.any():
            continue
        ends = [(part.row.main_line_id, part.row.main_spool)]
        ends += (
            [(part.row.leader_line_id, part.row.leader_spool)] if part.row.leader_line_id else []
        )
        known = [
            middle
            for specimen, middle in middles.items()
            if (specimen.line.pk, specimen.spool) in ends
        ]
        if not known:
            continue
        times = part.readings.newtons / min(known)
        middle = float(np.median(times[part.counted]))
        if middle > ABOVE_STRAIGHT:
            yield Finding(
                part.place,
                "reading",
                gettext("a middle reading at %(percent)s%% of the straight line's")
                % {"percent": f"{100 * middle:.0f}"},
                gettext("hardly above 100%: are unit, spool and line right?"),
            )
            continue
        for index in np.flatnonzero(part.counted & (times > PULL_ABOVE_STRAIGHT)):
            if WILD_BELOW <= times[index] / middle <= WILD_ABOVE:
                # Of the set: what single pulls say is shown in rounds, where lines may be hidden.
                yield Finding(
                    part.place,
                    "reading",
                    gettext("pull %(number)d: %(reading)s, %(percent)s%% of the straight line")
                    % {
                        "number": index + 1,
                        "reading": part.readings.written[index],
                        "percent": f"{100 * times[index]:.0f}",
                    },
                    gettext("hardly above 100%: is it as the scale showed it?"),
                )


def _below_label(straight: Sequence[StraightPart], unit: str) -> Iterator[Finding]:
    for specimen, parts in by_specimen(straight).items():
        label_N = specimen.line.label_strength_N
        parted = np.concatenate([part.readings.newtons[part.parted_in_line] for part in parts])
        if label_N is not None and parted.mean() < label_N:
            yield Finding(
                parts[0].place,
                "reading",
                gettext("%(specimen)s parts at %(parted)s")
                % {"specimen": specimen, "parted": in_unit(float(parted.mean()), unit)},
                gettext("at least its label strength, %(label_strength_written)s")
                % {"label_strength_written": _as_labelled(specimen.line, label_N, unit)},
            )


def _as_labelled(line: Line, label_N: float, unit: str) -> str:
    """A label strength in the unit of the readings beside it, and as it is written on the label."""
    written, in_ours = line.label_strength_written, in_unit(label_N, unit)
    if not written or written.endswith(f" {unit}"):
        return written or in_ours
    return f"{in_ours} ({written})"


def _factor_between_sets(joined: Sequence[JoinedPart]) -> Iterator[Finding]:
    """Sets on the same lines whose means differ as two units do."""
    same_lines: dict[tuple[Line, Line | None], list[JoinedPart]] = defaultdict(list)
    for part in joined:
        if part.row is not None:
            same_lines[part.row.main_line, part.row.leader_line].append(part)
    for parts in same_lines.values():
        unsorted = np.log([part.readings.newtons[part.counted].mean() for part in parts])
        order = np.argsort(unsorted)
        logs = unsorted[order]
        for units, factor in MIXED_UNITS.items():
            sought = logs - np.log(factor)
            first, after = np.searchsorted(logs, [sought - NEAR, sought + NEAR])
            for high in np.flatnonzero(after > first):
                low = first[high]
                yield Finding(
                    parts[order[high]].place,
                    "reading",
                    gettext("%(logs)s times '%(parts)s'")
                    % {
                        "logs": f"{np.exp(logs[high] - logs[low]):.3g}",
                        "parts": _label(parts[order[low]]),
                    },
                    gettext("sets on the same lines to be nearer; were %(units)s mixed?")
                    % {"units": units},
                )


def _label(part: JoinedPart) -> str:
    return part.row.label if part.row is not None else part.place
