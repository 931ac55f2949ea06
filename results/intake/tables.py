"""CSV and XLSX files as rows of cells, each with the number it has on the sheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import TypeAlias

from django.utils.translation import gettext

from results.intake.limits import LONGEST_CELL, MOST_COLUMNS, MOST_LINES, MOST_PULLS
from results.intake.workbooks import first_sheet
from rigs.refusals import Finding, TooLarge, Unreadable

Rows: TypeAlias = list[tuple[int, list[object]]]
"""Row number, from 1, and cells; blank rows are left out."""

SEPARATORS = ";\t,"


def csv_rows(body: bytes) -> Rows:
    """Rows of a CSV file with commas, semicolons or tabs. Raises Unreadable, TooLarge."""
    text = _decoded(body)
    header = next((line for line in text.splitlines() if line.strip(" \t,;")), "")
    _refuse_vast(text)
    return _bounded(_parsed(text, max(SEPARATORS, key=header.count)))


def xlsx_rows(body: bytes) -> Rows:
    """Rows of the first sheet of an XLSX file. Raises Unreadable, Invalid, TooLarge."""
    return _bounded(enumerate(first_sheet(body), start=1))


def _decoded(body: bytes) -> str:
    encoding = "utf-16" if body[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        row = body.count(b"\n", 0, error.start) + 1
        raise Unreadable(
            gettext(
                "The file is not UTF-8 text: row %(row)s holds a byte it can't. Save it "
                "as 'CSV UTF-8'."
            )
            % {"row": row},
            [
                Finding(
                    str(row),
                    "",
                    gettext("byte 0x%(body)s") % {"body": f"{body[error.start]:02x}"},
                    gettext("UTF-8 text"),
                )
            ],
        ) from error
    if "\x00" in text:
        row = text.count("\n", 0, text.index("\x00")) + 1
        raise Unreadable(
            gettext("Row %(row)s holds a NUL character; this may not be a text file.")
            % {"row": row},
            [Finding(str(row), "", gettext("a NUL character"), gettext("text"))],
        )
    return text


def _refuse_vast(text: str) -> None:
    """Millions of lines, or of cells in one, are refused unmade; notes may hold commas."""
    lines = text.split("\n")
    if len(lines) > MOST_LINES:
        raise TooLarge(
            gettext("The file has %(lines)s lines; at most %(most_lines)s are taken.")
            % {"lines": len(lines), "most_lines": MOST_LINES}
        )
    for number, line in enumerate(lines, start=1):
        cells = sum(map(line.count, SEPARATORS))
        if cells > 10 * MOST_COLUMNS:
            raise TooLarge(
                gettext(
                    "Line %(number)s has %(cells)s cells; at most %(most_columns)s columns fit."
                )
                % {"number": number, "cells": cells, "most_columns": MOST_COLUMNS}
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
        except csv.Error as error:
            raise Unreadable(
                gettext("Row %(number)s can't be read as CSV: %(error)s.")
                % {"number": number, "error": error},
                [Finding(str(number), "", str(error), "CSV (RFC 4180)")],
            ) from error


def _bounded(rows: Iterator[tuple[int, list[object]]]) -> Rows:
    kept: Rows = []
    for number, cells in rows:
        while cells and _blank(cells[-1]):
            cells.pop()
        if not cells:
            continue
        if len(cells) > MOST_COLUMNS:
            raise TooLarge(
                gettext("Row %(number)s has %(cells)s columns; at most %(most_columns)s fit.")
                % {"number": number, "cells": len(cells), "most_columns": MOST_COLUMNS}
            )
        if len(kept) > MOST_PULLS:
            raise TooLarge(
                gettext("The sheet has more than %(most_pulls)s rows, one for each pull.")
                % {"most_pulls": MOST_PULLS}
            )
        _refuse_long(number, cells)
        kept.append((number, cells))
    if not kept:
        raise Unreadable(gettext("The file is empty: the first row has to name the columns."))
    return kept


def _refuse_long(number: int, cells: list[object]) -> None:
    """Nothing looks into a cell before its length is known."""
    for column, cell in enumerate(cells, start=1):
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
    return isinstance(cell, str) and not cell.strip()
