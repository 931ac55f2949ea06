"""The layout of a sheet as people keep it: where its headings are, and which rows are pulls.

What is left out is named: lines above the headings, columns of the sender's own, rows of totals.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext

from results.intake import cells, columns
from results.intake.blind_codes import is_code, understood
from results.intake.columns import COLUMNS, KINDS, REQUIRED, SESSION_COLUMNS, Heading
from results.intake.findings import Findings, nearest, shown
from results.intake.limits import MOST_SUGGESTIONS
from results.intake.tables import HEADINGS_WITHIN, Rows, Table
from rigs.refusals import Finding, Invalid

SUMMARIES = {
    "total", "totals", "sum", "mean", "means", "average", "avg", "median", "min", "minimum", "max",
    "maximum", "sd", "stdev", "std", "cv", "range", "count", "n", "standarddeviation", "stddev",
}  # fmt: skip
"""Words that begin a row of totals, folded."""
_NUMBERS = ("time to break", "temperature", "soak", "revision", "discarded ties", "time to tie",
            "join diameter")  # fmt: skip
_PAIR = re.compile(r"(?P<name>[^:]+):(?P<value>.*)", re.DOTALL)


@dataclass(frozen=True)
class Layout:
    """The pulls of a sheet under the columns that are known; an unknown column is ''.

    ``said`` holds what lines above the headings say of the session, by column, with their rows.
    ``wrong`` are headings to correct; what a misspelt one may mean is read all the same, so that
    the mistakes below it are named with it.
    """

    number: int
    headings: tuple[Heading, ...]
    rows: Rows
    said: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    remarks: tuple[Finding, ...] = ()
    wrong: tuple[Finding, ...] = ()

    @property
    def unit(self) -> str:
        """The unit that the heading of the readings gives; empty where it gives none."""
        return next((each.unit for each in self.headings if each.name == "reading"), "")

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
    headings = tuple(_without_own_samples(found_first, body))
    said, above = _above(table.rows[:at])
    missing = list(_missing(number, headings, said))
    wrong = [*_wrong(number, headings, said)]
    wrong += _unknown(number, headings, body, is_whole=not missing)
    split = list(_split_readings(headings, number, table))
    wrong += [*missing, *split]
    if missing and any(cells.folded(cells.text(cell)) in KINDS for cell in written):
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
    if list(_missing(number, headings, said)):
        raise Invalid(gettext("The header row does not name the columns of a session."), wrong)
    if split:
        found = Findings()
        found.extend(wrong)
        raise Invalid(found.summary(), found.kept)
    pulls, left_out = _pulls(headings, written, body)
    unread = _unread(number, headings, body, is_comma=table.separator == ",")
    remarks = (*table.remarks, *above, *unread, *left_out)
    return Layout(number, headings, pulls, said, remarks, tuple(wrong))


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


def _above(rows: Rows) -> tuple[dict[str, tuple[int, str]], list[Finding]]:
    """What lines above the headings say, as 'Rig: shed winch'; and those that say nothing."""
    said: dict[str, tuple[int, str]] = {}
    titles = []
    for number, row in rows:
        given = [text for cell in row if (text := cells.text(cell))]
        name, value = _pair(given)
        if name in SESSION_COLUMNS and value and name not in said:
            said[name] = number, value
        else:
            titles.append(number)
    if not titles:
        return said, []
    found = gettext("lines above the headings")
    together = titles == list(range(titles[0], titles[-1] + 1)) and len(titles) > 1
    rows_of = f"{titles[0]}-{titles[-1]}" if together else ", ".join(map(str, titles))
    expected = gettext("what says something of the session: these were not read")
    return said, [Finding(rows_of, "", found, expected)]


def _pair(given: Sequence[str]) -> tuple[str, str]:
    """The column and the value of a line such as 'Rig: shed winch', in one cell or two."""
    if len(given) == 2:
        return columns.heading(given[0].rstrip(":").strip()).name, given[1]
    found = _PAIR.fullmatch(given[0]) if len(given) == 1 else None
    return (columns.heading(found["name"]).name, found["value"].strip()) if found else ("", "")


def _wrong(number: int, headings: Sequence[Heading], said: Collection[str]) -> Iterator[Finding]:
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
    if unit and ("unit" in seen or "unit" in said):
        found = gettext("'reading (%(unit)s)' and a column") % {"unit": shown(unit, quoted=False)}
        yield Finding(str(number), "unit", found, gettext("one of the two"))


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
        if each.name or not each.written or (is_whole and not _is_used(place, body)):
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


def _missing(number: int, headings: Sequence[Heading], said: Collection[str]) -> Iterator[Finding]:
    names = {each.name for each in headings} | set(said)
    has_unit = any(each.name == "reading" and each.unit for each in headings)
    for name in (*REQUIRED, *(() if has_unit else ("unit",))):
        if name not in names:
            yield Finding(str(number), name, gettext("no column of this name"), gettext("one"))


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
