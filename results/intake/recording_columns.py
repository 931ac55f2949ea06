"""Which column of a recording is time and which force, in what unit and by which clock."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from statistics import median

from django.utils.translation import gettext

from results.intake import recording_cells as cells
from results.intake.cells import seen
from results.intake.findings import shown
from results.intake.recording_rows import Row, Rows
from rigs.metrology.units import FORCE_UNITS, UnitError, force_unit
from rigs.refusals import Finding

CLOCKS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
PLAUSIBLE_Hz = (0.5, 5000.0)
"""Samples a second of load cells and scales as testers have them: common practice, no source."""
_TIME_UNITS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "msec": "ms", "millis": "ms", "millisecond": "ms", "milliseconds": "ms",
    "us": "us", "µs": "us", "μs": "us", "micros": "us", "microsecond": "us", "microseconds": "us",
}  # fmt: skip
_TIME_WORDS = {
    "time", "t", "elapsed", "timestamp", "clock", "datetime", "stamp", "zeit", "uhrzeit",
    *_TIME_UNITS,
}  # fmt: skip
_COUNTER_WORDS = {"sample", "samples", "index", "no", "nr", "#", "count", "row", "id"}
_FORCE_WORDS = {
    "force", "load", "pull", "weight", "reading", "tension", "value", "f", "scale", "kraft",
}  # fmt: skip
_OTHER_WORDS = {"temperature", "temp", "raw", "adc", "counts", "battery", "voltage", "date", "peak"}
_WORDS = re.compile(r"[\s_/,:()\[\]]+")
_RATE = re.compile(r"(?:sampl\w*\s*)?(?:rate|frequency)\D{0,20}?(\d+(?:\.\d+)?)", re.IGNORECASE)
_UNIT = re.compile(r"\bunits?(?: of force)?\W{1,4}([^\W\d_]{1,8})", re.IGNORECASE)
_TIME, _COUNTER, _FORCE, _OTHER = "time", "counter", "force", "other"


@dataclass(frozen=True)
class Column:
    """A column with what its heading says of it: ``kind`` and unit, or nothing.

    ``shows`` is the unit that stands behind its numbers.
    """

    place: int
    written: str = ""
    kind: str = ""
    unit: str = ""
    shows: str = ""


@dataclass
class Layout:
    """What is where; ``questions`` are findings whose fields are the answers that are missing."""

    first: int
    time: int | None = None
    force: int | None = None
    clock: str = ""
    unit: str = ""
    sample_rate_Hz: float | None = None
    started_at: datetime | None = None
    questions: list[Finding] = field(default_factory=list)
    remarks: list[Finding] = field(default_factory=list)

    def ask(self, answer: str, found: str, expected: str) -> None:
        self.questions.append(Finding("", answer, found, expected))


def laid_out(rows: Rows, head: Sequence[Row], given: Layout) -> Layout:
    """Complete what is ``given`` by headings first, and then by what the columns hold."""
    table = [row for _, row in head]
    begins = _first_of_data(table, rows.decimal)
    given.first = head[begins][0] if begins < len(head) else 0
    body, before = table[begins:], table[:begins]
    columns = _columns(before, body)
    said = "\n".join(" ".join(map(str, row)) for row in before)
    _take_facts(given, said, rows)
    _ask_for_others(given, columns)
    if given.questions:
        return given
    if given.time is None:
        _find_time(given, columns, body, rows.decimal)
    if given.force is None:
        _find_force(given, columns, body, rows.decimal)
    if given.force is not None and not given.unit:
        _find_unit(given, columns, body, _units_said(said, rows), rows.decimal)
    _find_clock(given, columns, body, rows.decimal)
    return given


def _first_of_data(table: Sequence[list[object]], decimal: str) -> int:
    """The first of three rows in a row, or of all that are left, that are numbers."""
    is_data = [_is_data(row, decimal) for row in table]
    for at in range(len(table)):
        if all(is_data[at : at + 3]):
            return at
    return len(table)


def _is_data(row: Sequence[object], decimal: str) -> bool:
    given = [cell for cell in row if cell != ""]
    values = [cell for cell in given if _is_value(cell, decimal)]
    return bool(values) and len(values) >= len(given) - 1 and _is_value(given[-1], decimal)


def _is_value(cell: object, decimal: str) -> bool:
    return cells.number(cell, decimal) is not None or cells.moment(cell) is not None


def _columns(before: Sequence[list[object]], body: Sequence[list[object]]) -> list[Column]:
    """The columns with the last row of headings above them, and a row of units below these."""
    width = max((len(row) for row in body), default=0)
    rows = [[str(cell).strip() for cell in row] for row in before]
    headings = rows[-1] if rows else []
    if len(rows) > 1 and headings and all(_is_unit(cell) for cell in headings if cell):
        units, names = headings, rows[-2]
        if len(names) == len(units):
            headings = [f"{name} [{unit}]" for name, unit in zip(names, units, strict=True)]
    if len([cell for cell in headings if cell]) < min(2, width):
        headings = []
    headings = [*headings, *[""] * width][:width]
    return [
        replace(_column(place, written), shows=_shown_in(body, place))
        for place, written in enumerate(headings)
    ]


def _shown_in(body: Sequence[list[object]], place: int) -> str:
    return next(filter(None, (cells.unit_in(_at(row, place)) for row in body)), "")


def _column(place: int, written: str) -> Column:
    words = [word for word in _WORDS.split(written[:120].casefold()) if word]
    unit = next((word for word in reversed(words) if _is_unit(word)), "")
    if written == "n" or (_COUNTER_WORDS & set(words) and not unit):
        return Column(place, written, _COUNTER)
    if _TIME_WORDS & set(words):
        return Column(place, written, _TIME, _TIME_UNITS.get(unit, ""))
    if _OTHER_WORDS & set(words):
        return Column(place, written, _OTHER)
    is_force = bool(_FORCE_WORDS & set(words)) or _is_force_unit(unit)
    return Column(place, written, _FORCE if is_force else "", unit if _is_force_unit(unit) else "")


def _is_unit(word: str) -> bool:
    return word.casefold().strip(".[]()") in _TIME_UNITS or _is_force_unit(word.strip("[]()"))


def _is_force_unit(word: str) -> bool:
    try:
        force_unit(word)
    except UnitError:
        return False
    return True


def _take_facts(given: Layout, said: str, rows: Rows) -> None:
    """What stands above the samples, or beside them in a JSON document."""
    rate = rows.facts.get("sample_rate_Hz")
    if found := _RATE.search(said):
        rate = float(found[1])
    if given.sample_rate_Hz is None and isinstance(rate, int | float) and rate > 0:
        given.sample_rate_Hz = float(rate)
    started = cells.moment(rows.facts.get("started_at"))
    if isinstance(started, datetime) and started.tzinfo is not None:
        given.started_at = started


def _units_said(said: str, rows: Rows) -> list[object]:
    above = _UNIT.search(said)
    return [rows.facts.get("unit"), above[1] if above else ""]


def _ask_for_others(given: Layout, columns: Sequence[Column]) -> None:
    """Where an answer names a column that there isn't, or one column for both."""
    for answer, place in (("time_column", given.time), ("force_column", given.force)):
        if place is not None and place >= len(columns):
            found = gettext("column %(number)d, which isn't there") % {"number": place + 1}
            given.ask(answer, found, _list_of(columns))
    if given.force is not None and given.force == given.time:
        found = gettext("column %(number)d twice") % {"number": given.force + 1}
        given.ask("force_column", found, gettext("another column than that of the time"))


def _find_time(
    given: Layout, columns: Sequence[Column], body: Sequence[list[object]], decimal: str
) -> None:
    named = [each for each in columns if each.kind == _TIME]
    if len(named) > 1:
        named = [each for each in named if each.unit] or named
    if not named:
        unknown = [each for each in columns if not each.kind]
        named = [each for each in unknown if _runs_on(body, each.place, decimal)]
        named = [each for each in named if each.shows in _TIME_UNITS] or named
        # A pull makes force rise on the whole; its noise is what a clock has not.
        named = [each for each in named if not _falls(body, each.place, decimal)] or named
        if len(named) == 1 and named[0].written:
            found = gettext("the column %(heading)s") % {"heading": shown(named[0].written)}
            expected = gettext("read as the times; is this right?")
            given.remarks.append(Finding("", "time_column", found, expected))
    if len(named) == 1:
        given.time = named[0].place
    elif named:
        given.ask("time_column", _list_of(named), gettext("the number of the column with the time"))
    elif given.sample_rate_Hz is None:
        given.ask(
            "sample_rate_Hz",
            gettext("no column of times"),
            gettext("how many samples the logger took a second"),
        )


def _find_force(
    given: Layout, columns: Sequence[Column], body: Sequence[list[object]], decimal: str
) -> None:
    left = [
        each
        for each in columns
        if each.place != given.time
        and each.kind not in (_TIME, _COUNTER, _OTHER)
        and any(cells.number(_at(row, each.place), decimal) is not None for row in body)
    ]
    named = [each for each in left if each.kind == _FORCE or _is_force_unit(each.shows)]
    found = [each for each in named if each.unit or each.shows] or named or left
    if len(found) == 1:
        given.force = found[0].place
    elif not any(question.field == "time_column" for question in given.questions) or named:
        expected = gettext("the number of the column with the force")
        given.ask("force_column", _list_of(found or columns), expected)


def _find_unit(
    given: Layout,
    columns: Sequence[Column],
    body: Sequence[list[object]],
    said: Sequence[object],
    decimal: str,
) -> None:
    """By heading, numbers and what stands above, which must not gainsay one another."""
    place = given.force or 0
    column = columns[place] if place < len(columns) else Column(place)
    written = [column.unit, column.shows, *said]
    units = {force_unit(each) for each in written if isinstance(each, str) and _is_force_unit(each)}
    strange = column.shows and not _is_force_unit(column.shows)
    if len(units) == 1 and not strange:
        given.unit = units.pop()
        return
    values = {"numbers": _greatest(body, place, decimal), "heading": shown(column.written)}
    if column.unit:
        found = gettext("%(numbers)s ... in the column %(heading)s") % values
    elif units and not strange:
        found = gettext("%(numbers)s ..., and %(units)s") % {
            **values, "units": gettext(" and ").join(sorted(units)),
        }  # fmt: skip
    elif strange:
        found = gettext("%(numbers)s ..., which is no unit of force") % values
    elif column.written:
        found = gettext("%(numbers)s ... in the column %(heading)s, without a known unit") % values
    else:
        found = gettext("%(numbers)s ... without a unit") % values
    given.ask("unit", found, gettext(" or ").join(FORCE_UNITS))


def _greatest(body: Sequence[list[object]], place: int, decimal: str) -> str:
    """Three cells of a column that show its unit: the first ones are often zeros."""
    given = [_at(row, place) for row in body]
    rising = sorted(given, key=lambda cell: cells.number(cell, decimal) or 0.0)
    return ", ".join(map(seen, rising[-3:]))


def unit_shown(cell: object) -> str:
    """The symbol of the unit of force or time that a cell shows behind its number, if any."""
    if isinstance(cell, str) and not cell[-1:].isalpha():
        return ""
    written = cells.unit_in(cell)
    if _is_force_unit(written):
        return force_unit(written)
    return _TIME_UNITS.get(written.casefold(), "")


def _find_clock(
    given: Layout, columns: Sequence[Column], body: Sequence[list[object]], decimal: str
) -> None:
    """By the heading, or by which unit makes a rate that a logger has."""
    if given.time is None or given.clock:
        return
    place = given.time
    if any(cells.moment(_at(row, place)) is not None for row in body):
        given.clock = "stamps"
        return
    column = columns[place] if place < len(columns) else Column(place)
    written = {column.unit, _TIME_UNITS.get(column.shows.casefold(), "")} & CLOCKS.keys()
    if len(written) == 1:
        given.clock = written.pop()
        return
    values = [cells.number(_at(row, place), decimal) for row in body]
    times = [value for value in values if value is not None]
    steps = [after - before for before, after in pairwise(times) if after > before]
    usual = median(steps) if steps else 0.0
    low, high = PLAUSIBLE_Hz
    able = [clock for clock, s in CLOCKS.items() if usual and low <= 1 / (usual * s) <= high]
    found = gettext("times %(numbers)s ...") % {
        "numbers": ", ".join(seen(_at(row, place)) for row in body[:3])
    }
    if len(able) == 1 and not written:
        given.clock = able[0]
        expected = gettext("read as %(clock)s; is this right?") % {"clock": able[0]}
        given.remarks.append(Finding("", "clock", found, expected))
    else:
        given.ask("clock", found, gettext("s, ms or us, or samples and how many of them a second"))


def _runs_on(body: Sequence[list[object]], place: int, decimal: str) -> bool:
    """Whether a column without a heading rises as only a clock or a counter does."""
    if any(isinstance(cells.moment(_at(row, place)), datetime | float) for row in body):
        return True
    values = [cells.number(_at(row, place), decimal) for row in body]
    rises = [b > a for a, b in pairwise(v for v in values if v is not None)]
    return len(rises) >= 2 and sum(rises) >= 0.9 * len(rises)


def _falls(body: Sequence[list[object]], place: int, decimal: str) -> bool:
    values = [cells.number(_at(row, place), decimal) for row in body]
    return any(b < a for a, b in pairwise(v for v in values if v is not None))


def _at(row: Sequence[object], place: int) -> object:
    return row[place] if place < len(row) else ""


def _list_of(columns: Sequence[Column]) -> str:
    names = [
        f"{each.place + 1}: {shown(each.written)}" if each.written else str(each.place + 1)
        for each in columns[:12]
    ]
    return gettext("columns %(names)s") % {"names": ", ".join(names)}
