"""Warnings: what is unusual in an upload but possible. Its sender is warned; it is stored."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence

import numpy as np
from django.utils.translation import gettext, ngettext
from numpy.typing import NDArray

from results.intake.findings import shown
from results.intake.parts import JoinedPart, Pulled, StraightPart
from results.intake.readings import in_unit
from results.intake.sufficiency import by_specimen
from results.intake.traces import reads_by_trace
from results.statistics.screening.weak_or_mixed import WEAK_BELOW, unit_slip
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
LONGEST = 500
"""Characters of a note that are looked through."""
_SAID_IN_NOTES = {
    "slip": re.compile(
        r"(?<!grip )(?<!clamp )(?<!bollard )(?<!not )(?<!never )(?<!nothing )\bslipp(?:ed|ing)\b"
        r"|\bpulled (?:out|through)\b",
        re.IGNORECASE,
    ),
    "grip": re.compile(
        r"\b(?:broke|parted|failed|snapped|slipped) (?:in|at) (?:the )?(?:grip|bollard|clamp)",
        re.IGNORECASE,
    ),
    "void": re.compile(
        r"\b(?:not a good|bad|failed) pull\b|\b(?:don['\u2019]?t|do not|not to) count\b"
        r"|\b(?:discard|ignore|invalid)\b",
        re.IGNORECASE,
    ),
}
"""English words of a note for how a pull ended. Which words is a judgement, and others will be
missed or mean something else, so that they are asked about and never refused."""
_PLAIN = re.compile(r"\d{1,9}(?:[.,]\d{1,9})?")


def warnings_of(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], unit: str
) -> list[Finding]:
    """Every warning of one session; ``unit`` is the symbol of its unit."""
    between = list(_factor_between_sets(joined))
    return [
        *_other_units([*straight, *joined], unit),
        *_below_label(straight, unit),
        *(finding for finding, _ in between),
        *_units_of_joins(straight, joined, {place for _, place in between}),
        *_notes_against_modes([*straight, *joined]),
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
        for index, (pull, own) in enumerate(zip(part.pulls, part.readings.units, strict=True)):
            if pull.unit is None and own != unit:
                yield Finding(
                    f"{part.place}.pulls[{index}]",
                    "reading",
                    gettext("a reading in %(shown)s, taken as such") % {"shown": own},
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


def _against_straight(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart]
) -> Iterator[tuple[JoinedPart, NDArray[np.float64], list[StraightPart]]]:
    """Each set whose straight line is known: its readings as shares of the weaker line's middle.

    With the parts of that line.
    """
    specimens = by_specimen(straight)
    middles = {
        specimen: float(
            np.median(
                np.concatenate([part.readings.newtons[part.parted_in_line] for part in parts])
            )
        )
        for specimen, parts in specimens.items()
    }
    for part in joined:
        if part.row is None or not part.counted.any():
            continue
        ends = [(part.row.main_line_id, part.row.main_spool)]
        ends += (
            [(part.row.leader_line_id, part.row.leader_spool)] if part.row.leader_line_id else []
        )
        known = [specimen for specimen in middles if (specimen.line.pk, specimen.spool) in ends]
        if known:
            weaker = min(known, key=lambda specimen: middles[specimen])
            yield part, part.readings.newtons / middles[weaker], list(specimens[weaker])


def _above_straight(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart]
) -> Iterator[Finding]:
    for part, times, _ in _against_straight(straight, joined):
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


def _factor_between_sets(joined: Sequence[JoinedPart]) -> Iterator[tuple[Finding, str]]:
    """Sets on the same lines whose means differ as two units do, with the place of the lower."""
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
                finding = Finding(
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
                yield finding, parts[order[low]].place


def _units_of_joins(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], named: Collection[str]
) -> Iterator[Finding]:
    """Sets so weak against their straight line that another unit is likelier than a weak join.

    Those at the places in ``named`` have been asked about.
    """
    shares = list(_against_straight(straight, joined))
    middles = {part.place: float(np.median(times[part.counted])) for part, times, _ in shares}
    for part, times, of_line in shares:
        middle = middles[part.place]
        slipped = [pull.failure_mode == "slip" for pull in part.pulls]
        if (
            part.place in named
            or middle > WEAK_BELOW
            or 2 * sum(slipped) > np.count_nonzero(part.counted)
        ):
            continue
        alike = [middles[each.place] for each, *_ in shares if _is_same_tie(each, part)]
        slip = unit_slip(
            times[part.counted],
            _units(part),
            {unit for each in of_line for unit in _units(each)},
            others=alike,
            more_decimals=_decimals([part]) > _decimals(of_line),
        )
        if slip is None:
            continue
        yield Finding(
            part.place,
            "reading",
            gettext("a middle reading at %(percent)s%% of the straight line's")
            % {"percent": f"{100 * middle:.0f}"},
            gettext(
                "more, unless the join is that weak: %(meant)s entered as %(entered)s would make "
                "%(share)s%% of it"
            )
            % {
                "meant": slip.meant,
                "entered": slip.entered,
                "share": f"{100 * middle / slip.factor:.0f}",
            },
        )


def _is_same_tie(one: JoinedPart, other: JoinedPart) -> bool:
    """Whether two sets are of one join, tied alike on the same lines."""
    if one is other or one.row is None or other.row is None:
        return False
    names = ("connection_id", "main_line_id", "leader_line_id", "terminal", "doubled", "parameters")
    return all(getattr(one.row, name) == getattr(other.row, name) for name in names)


def _units(part: Pulled) -> set[str]:
    return {part.readings.units[at] for at in np.flatnonzero(part.counted)}


def _decimals(parts: Sequence[Pulled]) -> int:
    """The most decimals that a reading of these parts is written with."""
    written = [text for part in parts for text in part.readings.written]
    pieces = [re.split("[.,]", text) for text in written if _PLAIN.fullmatch(text)]
    return max((len(piece[1].rstrip("0")) for piece in pieces if len(piece) > 1), default=0)


def _notes_against_modes(parts: Iterable[Pulled]) -> Iterator[Finding]:
    """Notes that seem to say how the pull ended, and say it otherwise than its failure mode."""
    for part in parts:
        for index, pull in enumerate(part.pulls):
            said = {
                mode for mode, words in _SAID_IN_NOTES.items() if words.search(pull.note[:LONGEST])
            }
            counts = pull.failure_mode != "void"
            if (
                not (said and counts)
                or pull.failure_mode in said
                or (pull.slipped_first and said == {"slip"})
            ):
                continue
            yield Finding(
                f"{part.place}.pulls[{index}]",
                "failure_mode",
                gettext("'%(mode)s', and the note %(note)s")
                % {"mode": pull.failure_mode, "note": shown(pull.note)},
                gettext("the two to agree: is it perhaps '%(modes)s'?")
                % {"modes": gettext("' or '").join(sorted(said))},
            )


def _label(part: JoinedPart) -> str:
    return part.row.label if part.row is not None else part.place
