"""CSV and XLSX files as rows of cells, each with the number it has on the sheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from typing import TypeAlias

from django.utils.translation import gettext, ngettext

from results.intake import cells, columns
from results.intake.decoding import decoded
from results.intake.limits import LONGEST_CELL, MOST_COLUMNS, MOST_LINES, MOST_PULLS
from results.intake.scanning import Merged
from results.intake.workbooks import Workbook, opened
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable

Rows: TypeAlias = list[tuple[int, list[object]]]
"""Row number, from 1, and cells; blank rows are left out."""

SEPARATORS = ";\t,"
HEADINGS_WITHIN = 40
"""Rows among which the headings are looked for."""
LEAST_HEADINGS = 4
"""Columns that a row has to name before it is taken for the headings of a sheet."""
_SEPARATOR_LINE = re.compile(r'\A\s*"?sep=([;,\t|])"?[ \t]*\r?\n?', re.IGNORECASE)
_LINES = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True)
class Table:
    """The rows of one sheet, and what was odd about reading them.

    Of a CSV file ``separator`` is what stands between its cells, and ``widths`` how many cells
    each row has, blank ones at its end counted. ``hidden`` are rows that a
    workbook doesn't show, ``struck`` row and column of cells that it strikes through, ``merged``
    the ranges that it shows as one cell, and ``comments`` are by row and column.
    """

    rows: Rows
    remarks: tuple[Finding, ...] = ()
    separator: str = ""
    widths: Mapping[int, int] = field(default_factory=dict)
    hidden: frozenset[int] = frozenset()
    struck: frozenset[tuple[int, int]] = frozenset()
    merged: tuple[Merged, ...] = ()
    comments: Mapping[tuple[int, int], str] = field(default_factory=dict)


def csv_table(body: bytes) -> Table:
    """A CSV file with commas, semicolons or tabs. Raises Unreadable, TooLarge."""
    text, remarks = decoded(body)
    if text.lstrip().startswith(("{", "[{")):
        raise Unreadable(
            gettext("This is JSON, and was sent as a sheet: give its file the ending .json."),
            [Finding("1", "", "JSON", gettext("a row that names the columns"))],
        )
    named = _SEPARATOR_LINE.match(text)
    if named:
        text = text[named.end() :]
    _refuse_vast(text)
    separator = named[1] if named else _separator(text)
    widths: dict[int, int] = {}
    rows = _bounded(_parsed(text, separator), widths)
    return Table(rows, tuple(remarks), separator, widths)


def xlsx_table(body: bytes) -> Table:
    """The sheet of an XLSX file that holds pulls. Raises Unreadable, Invalid, TooLarge."""
    book = opened(body)
    name = _sheet_of_pulls(book)
    remarks = list(_other_pulls(book, name))
    if name != book.names[0]:
        found = gettext("the sheet '%(name)s' of %(sheets)s") % {
            "name": name, "sheets": len(book.names),
        }  # fmt: skip
        remarks.append(Finding("", "", found, gettext("pulls on one sheet: only this one is read")))
    rows = _bounded(enumerate(book.rows(name), start=1))
    hidden, struck = book.measured.hidden_of(name), book.measured.struck_of(name)
    return Table(
        rows,
        tuple(remarks),
        hidden=hidden,
        struck=struck,
        merged=book.measured.merged_of(name),
        comments=book.measured.comments_of(name),
    )


def _sheet_of_pulls(book: Workbook) -> str:
    """The sheet with the headings of a session; the first where none has them. Raises Invalid."""
    named = {name: _most_named(book.rows(name, most=HEADINGS_WITHIN)) for name in book.names}
    whole = {
        name: pulls
        for name in named
        if named[name] >= LEAST_HEADINGS and (pulls := _pulls_on(book, name))
    }
    if len(whole) > 1:
        found = gettext(" and ").join(
            ngettext("'%(name)s' (%(rows)d row)", "'%(name)s' (%(rows)d rows)", pulls)
            % {"name": name, "rows": pulls}
            for name, pulls in whole.items()
        )
        raise Invalid(
            gettext("More than one sheet of the workbook holds pulls; one file is one session."),
            [Finding("", "", found, gettext("pulls on one sheet: send the others on their own"))],
        )
    if whole:
        return next(iter(whole))
    best = max(named, key=lambda name: named[name])
    return best if named[best] >= LEAST_HEADINGS else book.names[0]


def _other_pulls(book: Workbook, read: str) -> Iterator[Finding]:
    """Sheets with rows that could be pulls, beside the one that is read."""
    for name in (*book.names, *book.hidden):
        pulls = _pulls_on(book, name) if name != read else 0
        if pulls:
            found = ngettext(
                "the sheet '%(name)s' with %(rows)d row that could be a pull",
                "the sheet '%(name)s' with %(rows)d rows that could be pulls",
                pulls,
            ) % {"name": name, "rows": pulls}
            expected = gettext("pulls on '%(name)s' alone: send the others on their own") % {
                "name": read
            }
            yield Finding("", "", found, expected)


def _pulls_on(book: Workbook, name: str) -> int:
    """How many rows of a sheet could be pulls: they name a kind or a failure, and have a number."""
    return sum(
        any(isinstance(cell, float) or cells.is_number(cells.text(cell)) for cell in row)
        and any(cells.is_of_a_pull(cell) for cell in row if isinstance(cell, str))
        for row in book.rows(name)
    )


def _most_named(rows: Iterator[list[object]]) -> int:
    return max((columns.recognised([cells.text(cell) for cell in row]) for row in rows), default=0)


def _separator(text: str) -> str:
    """What stands between the cells: with which a line names most columns."""
    given = (line for line in _each_line(text) if line.strip(" \t,;"))
    lines = list(islice(given, HEADINGS_WITHIN))
    most, best = 1, max(SEPARATORS, key=lines[0].count) if lines else SEPARATORS[0]
    for line in lines:
        for separator in SEPARATORS:
            named = _named(line, separator)
            if named > most:
                most, best = named, separator
        if most >= len(columns.REQUIRED):
            break
    return best


def _each_line(text: str) -> Iterator[str]:
    start = 0
    for end in _LINES.finditer(text):
        yield text[start : end.start()]
        start = end.end()
    yield text[start:]


def _named(line: str, separator: str) -> int:
    if len(line) > LONGEST_CELL:
        return 0
    return columns.recognised([cell.strip(' "') for cell in line.split(separator)])


def _refuse_vast(text: str) -> None:
    """Millions of lines, or of cells in one, are refused unmade; notes may hold commas."""
    lines = _LINES.split(text)
    if len(lines) > MOST_LINES:
        raise TooLarge(
            gettext("The file has %(lines)s lines; at most %(most_lines)s are taken.")
            % {"lines": len(lines), "most_lines": MOST_LINES}
        )
    for number, line in enumerate(lines, start=1):
        found = sum(map(line.count, SEPARATORS))
        if found > 10 * MOST_COLUMNS:
            raise TooLarge(
                gettext(
                    "Line %(number)s has %(cells)s cells; at most %(most_columns)s columns fit."
                )
                % {"number": number, "cells": found, "most_columns": MOST_COLUMNS}
            )


def _parsed(text: str, separator: str) -> Iterator[tuple[int, list[object]]]:
    """Records with the row at which each begins, as a spreadsheet counts: one row a record."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    while True:
        number += 1
        try:
            yield number, list(next(reader))
        except StopIteration:
            return
        except csv.Error:
            found = _broken(text)
            raise Unreadable(
                gettext("Row %(number)s can't be read as CSV: %(found)s.")
                % {"number": number, "found": found},
                [Finding(str(number), "", found, gettext("cells as a spreadsheet saves them"))],
            ) from None


def _broken(text: str) -> str:
    """Why a row is no CSV; the reader knows three reasons, and says them in its own words."""
    if text.count('"') % 2:
        return gettext("a quotation mark is opened and not closed")
    if any(len(line) > csv.field_size_limit() for line in _each_line(text)):
        return gettext("a cell is longer than %(most)s characters") % {"most": LONGEST_CELL}
    return gettext("a quotation mark stands inside a cell; write it twice there")


def _bounded(
    rows: Iterator[tuple[int, list[object]]], widths: dict[int, int] | None = None
) -> Rows:
    kept: Rows = []
    for number, row in rows:
        width = len(row)
        while row and _blank(row[-1]):
            row.pop()
        if not row:
            continue
        if len(row) > MOST_COLUMNS:
            raise TooLarge(
                gettext("Row %(number)s has %(cells)s columns; at most %(most_columns)s fit.")
                % {"number": number, "cells": len(row), "most_columns": MOST_COLUMNS}
            )
        if len(kept) > MOST_PULLS:
            raise TooLarge(
                gettext("The sheet has more than %(most_pulls)s rows, one for each pull.")
                % {"most_pulls": MOST_PULLS}
            )
        _refuse_long(number, row)
        kept.append((number, row))
        if widths is not None:
            widths[number] = width
    if not kept:
        raise Unreadable(gettext("The file is empty: the first row has to name the columns."))
    return kept


def _refuse_long(number: int, row: list[object]) -> None:
    """Nothing looks into a cell before its length is known."""
    for column, cell in enumerate(row, start=1):
        if isinstance(cell, str) and len(cell) > LONGEST_CELL:
            found = gettext("%(cell)s characters") % {"cell": len(cell)}
            raise TooLarge(
                gettext(
                    "Row %(number)s, column %(column)s holds %(found)s; at most "
                    "%(longest_cell)s fit a cell."
                )
                % {
                    "number": number,
                    "column": column,
                    "found": found,
                    "longest_cell": LONGEST_CELL,
                },
                [
                    Finding(
                        str(number),
                        f"column {column}",
                        found,
                        gettext("at most %(longest_cell)s") % {"longest_cell": LONGEST_CELL},
                    )
                ],
            )


def _blank(cell: object) -> bool:
    return isinstance(cell, str) and not isinstance(cell, cells.Formula) and not cell.strip()
