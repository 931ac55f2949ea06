"""CSV and XLSX files as rows of cells, each with the number it has on the sheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import TypeAlias

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
            f"The file is not UTF-8 text: row {row} holds a byte it can't. Save it as 'CSV UTF-8'.",
            [Finding(str(row), "", f"byte 0x{body[error.start]:02x}", "UTF-8 text")],
        ) from error
    if "\x00" in text:
        row = text.count("\n", 0, text.index("\x00")) + 1
        raise Unreadable(
            f"Row {row} holds a NUL character; this may not be a text file.",
            [Finding(str(row), "", "a NUL character", "text")],
        )
    return text


def _refuse_vast(text: str) -> None:
    """Millions of lines, or of cells in one, are refused unmade; notes may hold commas."""
    lines = text.split("\n")
    if len(lines) > MOST_LINES:
        raise TooLarge(f"The file has {len(lines)} lines; at most {MOST_LINES} are taken.")
    for number, line in enumerate(lines, start=1):
        cells = sum(map(line.count, SEPARATORS))
        if cells > 10 * MOST_COLUMNS:
            raise TooLarge(f"Line {number} has {cells} cells; at most {MOST_COLUMNS} columns fit.")


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
                f"Row {number} can't be read as CSV: {error}.",
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
            raise TooLarge(f"Row {number} has {len(cells)} columns; at most {MOST_COLUMNS} fit.")
        if len(kept) > MOST_PULLS:
            raise TooLarge(f"The sheet has more than {MOST_PULLS} rows, one for each pull.")
        _refuse_long(number, cells)
        kept.append((number, cells))
    if not kept:
        raise Unreadable("The file is empty: the first row has to name the columns.")
    return kept


def _refuse_long(number: int, cells: list[object]) -> None:
    """Nothing looks into a cell before its length is known."""
    for column, cell in enumerate(cells, start=1):
        if isinstance(cell, str) and len(cell) > LONGEST_CELL:
            found = f"{len(cell)} characters"
            raise TooLarge(
                f"Row {number}, column {column} holds {found}; at most {LONGEST_CELL} fit a cell.",
                [Finding(str(number), f"column {column}", found, f"at most {LONGEST_CELL}")],
            )


def _blank(cell: object) -> bool:
    return isinstance(cell, str) and not cell.strip()
