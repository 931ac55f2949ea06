"""The layout of a sheet as people keep it: where its headings are, and which rows are pulls.

What is left out is named: lines above the headings, columns of the sender's own, rows of totals.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from django.utils.translation import gettext

from results.intake import cells, columns
from results.intake.blind_codes import is_code, understood
from results.intake.columns import COLUMNS, KINDS, REQUIRED, SESSION_COLUMNS, Heading
from results.intake.explained import EXPLAINED
from results.intake.findings import Findings, nearest, shown
from results.intake.limits import MOST_SUGGESTIONS
from results.intake.scanning import Merged
from results.intake.tables import HEADINGS_WITHIN, LEAST_HEADINGS, Rows, Table
from rigs.metrology.units import UnitError, force_unit, parse_force
from rigs.refusals import Finding, Invalid

SUMMARIES = {
    "total", "totals", "sum", "mean", "means", "average", "avg", "median", "min", "minimum", "max",
    "maximum", "sd", "stdev", "std", "cv", "range", "count", "n", "standarddeviation", "stddev",
}  # fmt: skip
"""Words that begin a row of totals, folded."""
MOST_NAMED = 4
"""Columns that a sheet may lack and still be one of a session, whose missing columns are named."""
LEAST_NUMBERED = 3
LEAST_SAMPLES, NEARLY_ALL = 20, 0.8
"""Rows of numbers from which, and share of all rows by which, a sheet is a recording."""
_NUMBERS = ("time to break", "temperature", "soak", "revision", "discarded ties", "time to tie",
            "join diameter")  # fmt: skip
_PAIR = re.compile(r"(?P<name>[^:]+):(?P<value>.*)", re.DOTALL)


class IsRecording(Invalid):
    """A recording of a load cell came where only sessions are taken."""


@dataclass(frozen=True)
class Layout:
    """The pulls of a sheet under the columns that are known; an unknown column is ''.

    ``said`` holds what lines above the headings say of the session, by column, with their rows.
    ``wrong`` are headings to correct; what a misspelt one may mean is read all the same, so that
    the mistakes below it are named with it. ``titles`` are lines above the headings that are no
    more than a title, with their rows. ``shown_unit`` is the unit that each reading is shown with,
    where nothing else says one.
    """

    number: int
    headings: tuple[Heading, ...]
    rows: Rows
    said: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    remarks: tuple[Finding, ...] = ()
    wrong: tuple[Finding, ...] = ()
    titles: tuple[tuple[int, str], ...] = ()
    shown_unit: str = ""

    @property
    def unit(self) -> str:
        """The unit that the heading of the readings gives, or that all of them are shown with."""
        given = next((each.unit for each in self.headings if each.name == "reading"), "")
        return given or self.shown_unit

    def heading_of(self, column: int) -> str:
        """The name of a column, counted from 1; of one that is not known its letters."""
        named = self.headings[column - 1].name if column <= len(self.headings) else ""
        return named or _letters(column - 1)

    @property
    def order_of_days(self) -> str:
        """'d' or 'm' where the heading of the date says what comes first."""
        written = next((each.unit for each in self.headings if each.name == "date"), "")
        return columns.order_of_days(written)

    @property
    def names(self) -> list[str]:
        return [each.name for each in self.headings]


def laid_out(table: Table) -> Layout:
    """Find the headings and the pulls. Raises Invalid where the headings can't be used."""
    at = header_of(table.rows)
    number, written = table.rows[at]
    body = table.rows[at + 1 :]
    found_first = list(_with_spools([columns.heading(cells.text(cell)) for cell in written]))
    headings = tuple(_without_numbers(_without_own_samples(found_first, body), body))
    said, above, titles = _above(table.rows[:at])
    unit = "" if "unit" in said else _unit_shown(headings, body)
    missing = list(_missing(number, headings, said, unit))
    wrong = [*_wrong(number, headings, said)]
    wrong += _unknown(number, headings, body, is_whole=not missing)
    split = list(_split_readings(headings, number, table))
    wrong += [*missing, *split]
    if missing and _is_pull(written):
        expected = gettext("the names of the columns: %(names)s, ...") % {
            "names": ", ".join((*REQUIRED, "unit"))
        }
        row = list(map(cells.text, written))
        found_row = shown(" ".join(row))
        if any(cell[:1].isdigit() for cell in row):
            found_row = gettext("a row of a pull")
        raise Invalid(
            gettext("The header row does not name the columns of a session."),
            [Finding(str(number), "", found_row, expected)],
        )
    headings = tuple(_as_meant(headings, said))
    if lacking := [each.field for each in _missing(number, headings, said, unit)]:
        detail = gettext("The header row does not name the columns of a session.")
        if len(lacking) > MOST_NAMED and _is_recording(table.rows):
            raise IsRecording(
                gettext("This looks like force over time: it belongs on the page for recordings."),
                wrong[-len(lacking) :],
            )
        if len(lacking) <= MOST_NAMED:
            detail = gettext("The headings lack: %(columns)s.") % {"columns": ", ".join(lacking)}
        raise Invalid(detail, wrong)
    if split:
        found = Findings()
        found.extend(wrong)
        raise Invalid(found.summary(), found.kept)
    pulls, left_out = _pulls(headings, written, body)
    wrong += _totals_as_pulls(headings, pulls)
    pulls, merged = _unmerged(headings, pulls, table)
    unread = _unread(number, headings, body, is_comma=table.separator == ",")
    remarks = (*table.remarks, *above, *unread, *left_out, *merged)
    return Layout(number, headings, pulls, said, remarks, tuple(wrong), tuple(titles), unit)


def _is_recording(rows: Rows) -> bool:
    """Whether nearly all rows are two numbers or more, as of a load cell."""
    numbers = sum(
        sum(isinstance(cell, float) or cells.is_number(cells.text(cell)) for cell in row) > 1
        for _, row in rows
    )
    return numbers >= max(LEAST_SAMPLES, NEARLY_ALL * len(rows))


def _is_pull(row: Sequence[object]) -> bool:
    """Whether a row in the place of the headings is one of a pull."""
    texts = [cells.text(cell) for cell in row]
    kinds = any(cells.folded(text) in KINDS for text in texts)
    return kinds and columns.recognised(texts) < LEAST_HEADINGS


def _with_spools(headings: Sequence[Heading]) -> Iterator[Heading]:
    """The headings; 'its spool' is that of the line before it."""
    before = ""
    for each in headings:
        name = columns.its_spool(each.written, before) or each.name
        yield Heading(each.written, name, each.unit)
        before = name


def _as_meant(headings: Sequence[Heading], said: Collection[str]) -> Iterator[Heading]:
    """The headings; of a misspelt one the column that it may mean, where that is not there."""
    taken = {each.name for each in headings} | set(said)
    for each in headings:
        meant = "" if each.name or not each.written else columns.meant_by(each.written)
        if meant and meant not in taken:
            taken.add(meant)
            yield Heading(each.written, meant)
        else:
            yield each


def _without_own_samples(headings: Sequence[Heading], body: Rows) -> Iterator[Heading]:
    """The headings; one of samples only where these are codes of a round.

    They may be, where a cell looks like one or no join is named. Others number samples of their own
    beside the join, and their column is left out as such.
    """
    joins = any(
        each.name == "connection" and _is_used(at, body) for at, each in enumerate(headings)
    )
    for place, each in enumerate(headings):
        own = each.name == "sample" and joins and not _has_codes(place, body)
        yield Heading(each.written) if own else each


def _without_numbers(headings: Iterable[Heading], body: Rows) -> Iterator[Heading]:
    """The headings; one such as 'Pull' not of readings, where pulls are numbered below it."""
    for place, each in enumerate(headings):
        own = each.written.casefold() == columns.NUMBERING and _counts(place, body)
        yield Heading(each.written) if own else each


def _counts(place: int, body: Rows) -> bool:
    """Whether the numbers of a column count from 1, once or again for each set."""
    texts = (cells.text(row[place]) for _, row in body if place < len(row))
    numbers = [int(text) for text in texts if text.isascii() and text.isdigit() and len(text) < 6]
    steps = zip([0, *numbers], numbers, strict=False)
    return len(numbers) >= LEAST_NUMBERED and all(
        number in (1, before + 1) for before, number in steps
    )


def _unit_shown(headings: Sequence[Heading], body: Rows) -> str:
    """The unit of the first reading, where each is shown with one, as '9.12 kg'; else empty."""
    places = {each.name: place for place, each in enumerate(headings)}
    first = ""
    for _, row in body:
        kind, reading = (
            row[places[name]] if name in places and places[name] < len(row) else ""
            for name in ("kind", "reading")
        )
        text = cells.seen(reading)
        if cells.folded(cells.text(kind)) not in KINDS or not any(map(str.isdigit, text)):
            continue
        with suppress(UnitError):
            first = first or parse_force(text).unit
        if not any(map(str.isalpha, text)):
            return ""
    return first


def _has_codes(place: int, body: Rows) -> bool:
    cells_of = (cells.text(row[place]) for _, row in body if place < len(row))
    return any(is_code(understood(text)) for text in cells_of)


def header_of(rows: Rows) -> int:
    """Which of the rows names most columns; the first where none names any."""
    best, most = 0, 0
    for place, (_, row) in enumerate(rows[:HEADINGS_WITHIN]):
        named = columns.recognised([cells.text(cell) for cell in row])
        if named > most:
            best, most = place, named
        if named >= len(REQUIRED):
            break
    return best


def _above(
    rows: Rows,
) -> tuple[dict[str, tuple[int, str]], list[Finding], list[tuple[int, str]]]:
    """What lines above the headings say, as 'Rig: shed winch'; those not understood; titles."""
    said: dict[str, tuple[int, str]] = {}
    titles, unread = [], []
    for number, row in rows:
        given = [text for cell in row if (text := cells.text(cell))]
        name, value = _pair(given)
        if name in SESSION_COLUMNS and value and name not in said:
            said[name] = number, value
        elif len(given) == 1 and not _PAIR.fullmatch(given[0]):
            titles.append((number, given[0]))
        elif given:
            found = shown("; ".join(given))
            unread.append(Finding(str(number), "", found, _instead_of(given[0], name)))
    return said, unread, titles


def _instead_of(written: str, name: str) -> str:
    """What a line above the headings would say in words that are understood."""
    meant = name or columns.heading(written.partition(":")[0].rpartition(" ")[0]).name
    if meant in columns.UNITS_OF:
        units = gettext(" or ").join(columns.UNITS_OF[meant])
        return gettext("'%(name)s: ...', in %(units)s: this line was not read") % {
            "name": meant, "units": units,
        }  # fmt: skip
    return gettext("a line such as 'state: dry' or 'temperature: 8': this one was not read")


def _pair(given: Sequence[str]) -> tuple[str, str]:
    """The column and the value of a line such as 'Rig: shed winch', in one cell or two."""
    if len(given) == 2:
        return columns.heading(given[0].rstrip(":").strip()).name, given[1]
    found = _PAIR.fullmatch(given[0]) if len(given) == 1 else None
    return (columns.heading(found["name"]).name, found["value"].strip()) if found else ("", "")


def _unmerged(headings: Sequence[Heading], pulls: Rows, table: Table) -> tuple[Rows, list[Finding]]:
    """The pulls with the value of merged cells in each of their rows, and where that was so.

    A reading is one pull's alone, so that one over several rows is asked about where it lacks.
    """
    rows = {number: list(row) for number, row in pulls}
    ranges: dict[int, list[Merged]] = defaultdict(list)
    for merged in sorted(table.merged, key=lambda each: each.first_row):
        place = merged.first_column - 1
        named = place < len(headings) and headings[place].name
        if named and merged.first_row in rows and merged.last_row > merged.first_row:
            ranges[place].append(merged)
    remarks = []
    for place, found in sorted(ranges.items()):
        name = headings[place].name
        expected = gettext("one reading for each row: it was read in the first row alone")
        if name != "reading":
            expected = gettext("a cell for each row: the value was read in all rows of these")
            for merged in found:
                _fill(rows, place, merged)
        said = gettext("merged cells: %(cells)s") % {
            "cells": shown(", ".join(each.cells for each in found), quoted=False)
        }
        remarks.append(Finding(str(found[0].first_row), name, said, expected))
    return list(rows.items()), remarks


def _fill(rows: dict[int, list[object]], place: int, merged: Merged) -> None:
    first = rows[merged.first_row]
    value = first[place] if place < len(first) else ""
    for number in range(merged.first_row + 1, merged.last_row + 1):
        row = rows.get(number)
        if row is not None:
            row += [""] * (place + 1 - len(row))
            row[place] = value


def _wrong(
    number: int, headings: Sequence[Heading], said: Mapping[str, tuple[int, str]]
) -> Iterator[Finding]:
    """Columns that stand twice, and units that a column doesn't take."""
    seen: dict[str, Heading] = {}
    for each in headings:
        if each.name in seen:
            first = seen[each.name].written
            twice = gettext("the column twice")
            if each.written.casefold() != first.casefold():
                twice = gettext("the column twice, as %(first)s and %(second)s") % {
                    "first": shown(first), "second": shown(each.written),
                }  # fmt: skip
            yield Finding(str(number), each.name, twice, gettext("each column once"))
        elif each.name:
            seen[each.name] = each
        if each.says_wrong_unit:
            taken = gettext(" or ").join(columns.UNITS_OF[each.name])
            yield Finding(str(number), each.name, shown(each.unit), taken)
    unit = seen["reading"].unit if "reading" in seen else ""
    if unit and "unit" in seen:
        found = gettext("%(heading)s and a column %(unit)s") % {
            "heading": shown(seen["reading"].written), "unit": shown(seen["unit"].written),
        }  # fmt: skip
        yield Finding(str(number), "unit", found, gettext("one of the two"))
    elif unit and "unit" in said and not _same_unit(unit, said["unit"][1]):
        row, above = said["unit"]
        found = gettext("%(above)s, and %(heading)s in row %(row)s") % {
            "above": shown(above), "heading": shown(seen["reading"].written), "row": number,
        }  # fmt: skip
        yield Finding(str(row), "unit", found, gettext("one of the two"))


def _same_unit(one: str, other: str) -> bool:
    try:
        return force_unit(one) == force_unit(other)
    except UnitError:
        return False


def _unknown(
    number: int, headings: Sequence[Heading], body: Rows, *, is_whole: bool
) -> Iterator[Finding]:
    """Unknown headings that may mean a column, or say how a join was tied.

    Where a column is missing (``is_whole`` is False), any of them may be it.
    """
    asked = 0
    named = {each.name for each in headings}
    free = [name for name in COLUMNS if name not in named]
    for place, each in enumerate(headings):
        numbers = each.written.casefold() == columns.NUMBERING
        if each.name or not each.written or numbers or (is_whole and not _is_used(place, body)):
            continue
        found = gettext("an unknown column")
        name = shown(each.written.replace("_", " "), quoted=False)
        if columns.is_of_a_tie(each.written):
            expected = gettext("how it was tied in the column 'parameters', as 'turns main=6'")
            yield Finding(str(number), name, found, expected)
        elif asked >= MOST_SUGGESTIONS:
            continue
        elif not is_whole or columns.meant_by(each.written):
            asked += 1
            yield Finding(str(number), name, found, nearest(each.written, free or COLUMNS))


def _missing(
    number: int, headings: Sequence[Heading], said: Collection[str], unit: str
) -> Iterator[Finding]:
    names = {each.name for each in headings} | set(said)
    has_unit = unit or any(each.name == "reading" and each.unit for each in headings)
    for name in (*REQUIRED, *(() if has_unit else ("unit",))):
        if name in names:
            continue
        expected = gettext("one")
        if name == "unit":
            expected = gettext("one, or the unit in the heading, as 'Reading (lbs)'")
        elif name in SESSION_COLUMNS:
            expected = gettext("one, or a line above the headings, as '%(name)s: %(example)s'") % {
                "name": name, "example": EXPLAINED[name].joined,
            }  # fmt: skip
        yield Finding(str(number), name, gettext("no column of this name"), expected)


def _unread(
    number: int, headings: Sequence[Heading], body: Rows, *, is_comma: bool
) -> Iterator[Finding]:
    """Columns whose cells are not read: of the sender's own, or without a heading."""
    for place, each in enumerate(headings):
        if each.name or not (each.written or _is_used(place, body)):
            continue
        name = shown(each.written, quoted=False) if each.written else _letters(place)
        found = gettext("a column that is not one of a session's")
        yield Finding(
            str(number), name, found, gettext("only columns of a session: its cells are not read")
        )
    beyond = max((len(row) for _, row in body), default=0)
    if beyond > len(headings) and not is_comma:
        found = gettext("cells to the right of the headings")
        name = _letters(len(headings))
        yield Finding(str(number), name, found, gettext("a heading above them: they are not read"))


def _pulls(
    headings: Sequence[Heading], header: Sequence[object], body: Rows
) -> tuple[Rows, list[Finding]]:
    """The rows that are pulls, and the others by name: totals, and the headings once more."""
    pulls, left_out = [], []
    again = [cells.text(cell) for cell in header]
    places = {each.name: place for place, each in enumerate(headings) if each.name}
    for number, row in body:
        texts = {name: cells.text(row[at]) for name, at in places.items() if at < len(row)}
        is_pull = texts.get("failure mode") or cells.folded(texts.get("kind", "")) in KINDS
        if [cells.text(cell) for cell in row] == again:
            found = gettext("the headings again")
            left_out.append(Finding(str(number), "", found, gettext("a pull: it is not read")))
        elif not is_pull and (word := _summary(row)):
            found = gettext("a row of %(word)s") % {"word": shown(word)}
            left_out.append(Finding(str(number), "", found, gettext("a pull: it is not read")))
        elif any(texts.values()) or any(isinstance(cell, cells.Formula) for cell in row):
            pulls.append((number, row))
    return pulls, left_out


def _totals_as_pulls(headings: Sequence[Heading], pulls: Rows) -> Iterator[Finding]:
    """Rows with all that a pull has, and a word such as 'Mean' where the others are numbered."""
    for place, each in enumerate(headings):
        if each.name:
            continue
        words = {number: row[place] for number, row in pulls if place < len(row)}
        totals = {number for number, cell in words.items() if _summary([cell])}
        others = [cells.text(cell) for number, cell in words.items() if number not in totals]
        if not others or not all(text.isdigit() or not text for text in others):
            continue
        for number in sorted(totals):
            found = gettext("%(word)s, and a kind and a failure mode") % {
                "word": shown(words[number])
            }
            expected = gettext("a pull, or a row of totals without kind and failure mode")
            yield Finding(str(number), "kind", found, expected)


def _summary(row: Sequence[object]) -> str:
    """The word that makes a row without kind and failure mode one of totals."""
    first = next((cell for cell in row if isinstance(cell, str) and cells.text(cell)), "")
    text = "" if isinstance(first, cells.Formula) else cells.text(first)
    words = [text.partition("(")[0], text.partition(" ")[0]]
    return text if any(cells.folded(word).rstrip(":=.") in SUMMARIES for word in words) else ""


def _split_readings(headings: Sequence[Heading], number: int, table: Table) -> Iterator[Finding]:
    """Readings with a decimal comma that commas between the cells have cut in two."""
    place = next((at for at, each in enumerate(headings) if each.name == "reading"), None)
    if table.separator != "," or place is None:
        return
    after = headings[place + 1].name if place + 1 < len(headings) else ""
    for row_number, row in table.rows:
        cut = [cells.text(cell) for cell in row[place : place + 2]]
        is_wide = table.widths.get(row_number, 0) > table.widths.get(number, 0)
        if (is_wide or after not in _NUMBERS) and len(cut) == 2 and all(map(_is_piece, cut)):
            expected = gettext("one reading: a decimal comma needs quotes, or semicolons "
                               "between the cells")  # fmt: skip
            yield Finding(str(row_number), "reading", f"'{cut[0]},{cut[1]}'", expected)


def _is_piece(text: str) -> bool:
    return len(text) <= 4 and text.isascii() and text.isdigit()


def _is_used(place: int, body: Rows) -> bool:
    return any(place < len(row) and cells.text(row[place]) for _, row in body)


def _letters(place: int) -> str:
    """The letters that a spreadsheet gives a column, counted from 0."""
    letters = ""
    number = place + 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return gettext("column %(letters)s") % {"letters": letters}
