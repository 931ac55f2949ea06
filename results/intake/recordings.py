"""A recording of force over time, from the bytes of a logger's file to its pulls.

Column names, separator, decimal mark, unit and clock are recognised by headings and content. What
can't be is asked for: the refusal's findings have the names of the answers as their fields, and the
same file is sent again with them. Nothing is stored here.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
from django.utils.translation import gettext
from numpy.typing import NDArray

from results.intake import recording_cells as cells
from results.intake.cells import Measure, seen
from results.intake.findings import shown
from results.intake.limits import MOST_PULLS_OF_A_RECORDING, MOST_SAMPLES_READ
from results.intake.recording_columns import CLOCKS, Layout, laid_out, unit_shown
from results.intake.recording_rows import Row, Rows, rows_of
from rigs.metrology.bounds import SAMPLE_RATE_Hz
from rigs.metrology.errors import MetrologyError
from rigs.metrology.traces.cutting import Cut, Part, cut
from rigs.metrology.traces.faulty import faults_of_zeros
from rigs.metrology.traces.pull import TraceFigures, describe
from rigs.metrology.traces.steps import even_clock, written_step
from rigs.metrology.units import FORCE_UNITS, UnitError, force_unit
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable

Column = NDArray[np.float64]

FEWEST_SAMPLES = 4
ILLEGIBLE_SHARE = 0.05
"""Of the rows: a logger cuts a line short now and then, or writes an error instead; a file with
more is read wrongly."""
NAMED_ROWS = 10
DAY_s = 86_400.0
CLOCK_ANSWERS = (*CLOCKS, "samples", "stamps")


@dataclass(frozen=True)
class Answers:
    """What its sender knows of a recording; what is not given is recognised, or asked for.

    Columns count from 1. ``clock`` is the unit of the times, 'samples' where they are only
    counted, or 'stamps' for times of day; ``unit`` that of the forces.
    """

    time_column: int | None = None
    force_column: int | None = None
    unit: str = ""
    clock: str = ""
    sample_rate_Hz: float | None = None
    separator: str = ""
    decimal: str = ""
    capacity_N: float | None = None


class Asks(Invalid):
    """The file can be read once the answers that its findings name are given."""


@dataclass(frozen=True)
class Recording:
    """Samples with the row of each, the pulls in them, and how they were read.

    Times begin at 0; forces are in ``unit`` as written, in multiples of ``step``. ``figures`` has
    an entry for each pull, None where it has too few samples.
    """

    time_s: Column
    force: Column
    unit: str
    step: float
    started_at: datetime | None
    rows: Sequence[int]
    cut: Cut
    figures: tuple[TraceFigures | None, ...]
    remarks: tuple[Finding, ...]
    read_as: Answers

    @property
    def force_N(self) -> Column:
        return self.force * FORCE_UNITS[self.unit]

    def trace_of(self, part: Part) -> dict[str, Any]:
        """The trace of one pull as a session's document has it."""
        times = self.time_s[part.first : part.last]
        trace: dict[str, Any] = {
            "unit": self.unit,
            "time_s": np.round(times - times[0], 6).tolist(),
            "force": self.force[part.first : part.last].tolist(),
        }
        if self.started_at is not None:
            start = self.started_at.timestamp() + float(times[0])
            moment = datetime.fromtimestamp(start, UTC).isoformat(timespec="milliseconds")
            trace["started_at"] = moment.replace("+00:00", "Z")
        return trace


def read_recording(body: bytes, content_type: str, answers: Answers = Answers()) -> Recording:
    """Read and cut a recording. Raises Unreadable, TooLarge, Invalid, and Asks."""
    given = _checked(answers)
    rows = rows_of(body, content_type, answers.separator, answers.decimal)
    head = rows.head()
    if not rows.is_sure:
        found = gettext("commas alone, which may part columns or be decimal")
        raise _asks([Finding("", "separator", found, gettext("what stands between the columns"))])
    layout = laid_out(rows, head, given)
    if not layout.first:
        raise _no_recording(head)
    if layout.questions:
        raise _asks(layout.questions)
    samples = _samples(rows, layout, is_open=not answers.decimal)
    unit, factor = layout.unit, FORCE_UNITS[layout.unit]
    force, turned = _upright(np.array(samples.force))
    try:
        times = even_clock(np.array(samples.times) - samples.times[0])
        parts = cut(times, force * factor, capacity_N=answers.capacity_N)
    except MetrologyError as error:
        raise Invalid(gettext("The recording can't be cut: %(why)s.") % {"why": error}) from error
    if len(parts.pulls) > MOST_PULLS_OF_A_RECORDING:
        raise TooLarge(
            gettext("The recording has %(pulls)s pulls; at most %(most)s are taken at once.")
            % {"pulls": len(parts.pulls), "most": MOST_PULLS_OF_A_RECORDING}
        )
    figures = tuple(_figures(times, force * factor, part) for part in parts.pulls)
    firsts = [part.first for part in parts.pulls]
    moved = faults_of_zeros(times, [*zip(firsts, figures, strict=True)])
    return Recording(
        times,
        force,
        unit,
        written_step(force),
        layout.started_at or samples.started_at,
        samples.rows,
        replace(parts, faults=(*parts.faults, *moved)),
        figures,
        (*rows.remarks, *layout.remarks, *samples.remarks, *turned),
        replace(
            answers, unit=unit, clock=layout.clock, separator=rows.separator, decimal=rows.decimal,
            time_column=None if layout.time is None else layout.time + 1,
            force_column=(layout.force or 0) + 1, sample_rate_Hz=layout.sample_rate_Hz,
        ),
    )  # fmt: skip


def _no_recording(head: Sequence[Row]) -> Unreadable:
    if not head:
        return Unreadable(gettext("The file is empty: a recording has a time and a force a row."))
    number, row = head[len(head) // 2]
    written = " ".join(str(cell) for cell in row if cell != "")
    return Unreadable(
        gettext("The file holds no rows of numbers: it is no recording."),
        [Finding(str(number), "", shown(written), gettext("a time and a force, and little else"))],
    )


def _checked(answers: Answers) -> Layout:
    """The answers as they are used. Raises Invalid with what can't be one."""
    wrong = []
    unit = ""
    if answers.unit:
        try:
            unit = force_unit(answers.unit)
        except UnitError:
            expected = gettext(" or ").join(FORCE_UNITS)
            wrong.append(Finding("", "unit", shown(answers.unit), expected))
    if answers.clock and answers.clock not in CLOCK_ANSWERS:
        expected = gettext(" or ").join(CLOCK_ANSWERS)
        wrong.append(Finding("", "clock", shown(answers.clock), expected))
    rate = answers.sample_rate_Hz
    if rate is not None and not SAMPLE_RATE_Hz.holds(rate):
        wrong.append(Finding("", "sample_rate_Hz", shown(rate), str(SAMPLE_RATE_Hz)))
    if answers.clock == "samples" and rate is None:
        expected = gettext("how many samples the logger took a second")
        wrong.append(Finding("", "sample_rate_Hz", gettext("nothing"), expected))
    for name in ("time_column", "force_column"):
        place = getattr(answers, name)
        if place is not None and not 1 <= place <= 1000:
            wrong.append(Finding("", name, shown(place), gettext("a column, counted from 1")))
    if wrong:
        raise Invalid(gettext("The answers about the recording can't be used."), wrong)
    time, force = answers.time_column, answers.force_column
    return Layout(
        0,
        None if time is None else time - 1,
        None if force is None else force - 1,
        answers.clock,
        unit,
        rate,
    )


def _asks(questions: Sequence[Finding]) -> Asks:
    return Asks(
        gettext("The recording does not say everything: answer what is asked, and send it again."),
        questions,
    )


@dataclass
class _Samples:
    times: array[float]
    force: array[float]
    rows: array[int]
    remarks: list[Finding]
    started_at: datetime | None = None


def _samples(rows: Rows, layout: Layout, *, is_open: bool) -> _Samples:
    """All rows that have a time and a force; the few others are named in a remark.

    While it ``is_open`` which mark is the decimal one, the first number that shows it settles it.
    Raises Asks where none does and there is a number that may be thousands.
    """
    may_be_thousands = ""
    found = _Samples(array("d"), array("d"), array("l"), [])
    illegible: list[tuple[int, str]] = []
    moments: list[cells.Moment] = []
    place = layout.force or 0
    units = _Units([each for each in (layout.time, layout.force) if each is not None])
    for number, row in rows.read():
        if number < layout.first:
            continue
        if len(found.force) >= MOST_SAMPLES_READ:
            most = {"most": MOST_SAMPLES_READ}
            raise TooLarge(gettext("More than %(most)s samples; send fewer at once.") % most)
        if is_open:
            is_open = rows.decimal not in map(cells.mark_shown, row)
            may_be_thousands = may_be_thousands or _either_way(row, layout)
        units.note(number, row)
        force = cells.number(row[place], rows.decimal) if place < len(row) else None
        time = _time(row, rows, layout, len(found.force))
        if force is None or time is None or not np.isfinite(force):
            illegible.append((number, " ".join(map(str, row))))
            continue
        if layout.clock == "stamps":
            moments.append(time)
        elif isinstance(time, float) and np.isfinite(time):
            found.times.append(time)
        else:
            illegible.append((number, " ".join(map(str, row))))
            continue
        found.force.append(force)
        found.rows.append(number)
    if is_open and may_be_thousands:
        raise _asks([_which_mark(may_be_thousands)])
    if moments:
        found.times, found.started_at = _since_the_first(moments)
    _judge(found, illegible)
    return found


class _Units:
    """Of the columns at these places, the first unit that each shows behind its numbers."""

    def __init__(self, places: Sequence[int]) -> None:
        self.first: dict[int, tuple[str, int]] = {}
        self.places = places

    def note(self, number: int, row: Sequence[object]) -> None:
        """Raises Invalid where a column shows another unit than in the rows before."""
        for place in self.places:
            cell = row[place] if place < len(row) else ""
            if isinstance(cell, float | int) and not isinstance(cell, Measure):
                continue
            unit = unit_shown(cell)
            before, since = self.first.setdefault(place, (unit, number)) if unit else ("", 0)
            if unit != before:
                raise Invalid(
                    gettext("The recording changes its unit: send it in one."),
                    [Finding(str(number), "", shown(seen(cell)),
                             gettext("%(unit)s, as from row %(since)s on")
                             % {"unit": before, "since": since})],
                )  # fmt: skip


def _either_way(row: Sequence[object], layout: Layout) -> str:
    """The time or force of a row where it may be thousands or not; else nothing."""
    places = [place for place in (layout.time, layout.force) if place is not None]
    written = [row[place] for place in places if place < len(row)]
    return next((str(cell) for cell in written if cells.mark_shown(cell) == "open"), "")


def _which_mark(written: str) -> Finding:
    """The question whether a mark before three digits parts thousands or is the decimal one."""
    return Finding(
        "",
        "decimal",
        gettext("%(number)s, and no number that shows what its mark stands for")
        % {"number": shown(written)},
        gettext("the decimal mark, point or comma: the other one parts thousands"),
    )


def _time(row: Sequence[object], rows: Rows, layout: Layout, count: int) -> cells.Moment | None:
    if layout.time is None:
        return count / (layout.sample_rate_Hz or 1.0)
    cell = row[layout.time] if layout.time < len(row) else ""
    if layout.clock == "stamps":
        return cells.moment(cell)
    value = cells.number(cell, rows.decimal)
    if value is None:
        return None
    if layout.clock == "samples":
        return value / (layout.sample_rate_Hz or 1.0)
    # Divided, since a thousandth is no binary fraction: 12 ms are 0.012 s to the last bit.
    return value / round(1 / CLOCKS[layout.clock])


def _since_the_first(moments: Sequence[cells.Moment]) -> tuple[array[float], datetime | None]:
    """Seconds; times of day go on after midnight. The start is known where the file says a zone."""
    first = moments[0]
    is_dated = [isinstance(each, datetime) for each in moments]
    is_zoned = {each.tzinfo is not None for each in moments if isinstance(each, datetime)}
    if any(is_dated) != all(is_dated) or len(is_zoned) > 1:
        raise Invalid(gettext("Some times have a day or a zone, and others have not."))
    if isinstance(first, datetime):
        since = [(m - first).total_seconds() for m in moments if isinstance(m, datetime)]
        return array("d", since), first.astimezone(UTC) if first.tzinfo else None
    seconds = [each for each in moments if isinstance(each, float)]
    passed, days = array("d", seconds[:1]), 0
    for before, after in pairwise(seconds):
        days += after < before - DAY_s / 2
        passed.append(after + days * DAY_s)
    return passed, None


def _judge(found: _Samples, illegible: Sequence[tuple[int, str]]) -> None:
    """Refuse what is too little or too damaged, and name the rows that were left out."""
    findings = [
        Finding(str(number), "", shown(text), gettext("a time and a force"))
        for number, text in illegible[:NAMED_ROWS]
    ]
    rows = len(found.force) + len(illegible)
    if len(found.force) < FEWEST_SAMPLES:
        raise Unreadable(
            gettext("The file holds %(samples)s samples; a recording has many.")
            % {"samples": len(found.force)},
            findings,
        )
    if len(illegible) > max(1, ILLEGIBLE_SHARE * rows):
        raise Invalid(
            gettext("%(bad)s of %(rows)s rows have no time or no force that can be read.")
            % {"bad": len(illegible), "rows": rows},
            findings,
        )
    found.remarks += [
        replace(finding, expected=gettext("a time and a force: left out")) for finding in findings
    ]
    if len(illegible) > NAMED_ROWS:
        left_out = gettext("%(rows)s rows") % {"rows": len(illegible)}
        found.remarks.append(Finding("", "", left_out, gettext("a time and a force: left out")))


def _upright(force: Column) -> tuple[Column, list[Finding]]:
    """Turn a recording of a load cell that is mounted the other way round, whose pulls go down."""
    middle, lowest, highest = float(np.median(force)), float(force.min()), float(force.max())
    ends = min(float(np.median(force[:3])), float(np.median(force[-3:])))
    is_mostly_below = middle - lowest > 3 * (highest - middle)
    rests_on_top = -lowest > highest and ends - lowest > highest - ends
    if not (is_mostly_below or rests_on_top):
        return force, []
    found = gettext("forces that fall below zero as the line is pulled")
    return -force + 0.0, [Finding("", "force", found, gettext("forces that rise: turned round"))]


def _figures(times: Column, force_N: Column, part: Part) -> TraceFigures | None:
    try:
        return describe(times[part.first : part.last], force_N[part.first : part.last])
    except MetrologyError:
        return None
