"""The rows of a sheet beside the findings in them, for the person who corrects it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from results.intake import cells, tables
from results.intake.columns import heading
from results.intake.layout import header_of
from results.intake.reading import CSV, JSON, form_of
from rigs.refusals import Finding, Refused

MOST_ROWS = 80
LONGEST_CELL = 40
TELLING = {"kind", "label", "connection", "main line", "reading", "failure mode"}
Level = Literal["", "wrong", "odd"]


@dataclass(frozen=True)
class Cell:
    """A cell's text below its heading, and whether it is wrong or unusual."""

    heading: str
    text: str
    level: Level = ""


@dataclass(frozen=True)
class MarkedRow:
    """A row with its number on the sheet; ``level`` is that of the worst thing said of it."""

    number: int
    cells: tuple[Cell, ...]
    level: Level
    said: tuple[Finding, ...]


@dataclass(frozen=True)
class MarkedSheet:
    """The header and the rows that something is said of, each with its neighbours."""

    header: tuple[str, ...]
    rows: tuple[MarkedRow, ...]
    left_out: int


def marked(
    body: bytes, content_type: str, wrong: Sequence[Finding], odd: Sequence[Finding] = ()
) -> MarkedSheet | None:
    """The sheet with its findings in place; None for a document or what can't be read as rows."""
    form = form_of(content_type)
    if form == JSON:
        return None
    try:
        table = tables.csv_table(body) if form == CSV else tables.xlsx_table(body)
    except Refused:
        return None
    rows = table.rows[header_of(table.rows) :]
    said: dict[int, list[tuple[Level, Finding]]] = defaultdict(list)
    levels: tuple[tuple[Level, Sequence[Finding]], ...] = (("wrong", wrong), ("odd", odd))
    for level, findings in levels:
        for finding in findings:
            if finding.row.isdecimal():
                said[int(finding.row)].append((level, finding))
    (_, header), *others = rows
    for number, level, finding in _repeated(header, others, said):
        said[number].append((level, finding))
    near = [row for row in others if any(number in said for number in _neighbours(row[0]))]
    shown = near[:MOST_ROWS]
    columns = _columns(
        header, shown, {f.field.casefold() for found in said.values() for _, f in found}
    )
    headings = tuple(_shown(header[column]) for column in columns)
    return MarkedSheet(
        headings,
        tuple(
            _row(
                number,
                [row[column] if column < len(row) else "" for column in columns],
                headings,
                said.get(number, []),
            )
            for number, row in shown
        ),
        left_out=len(others) - len(shown),
    )


def _repeated(
    header: list[object], rows: tables.Rows, said: Mapping[int, list[tuple[Level, Finding]]]
) -> list[tuple[int, Level, Finding]]:
    """Rows below a wrong one with the same in that cell: what is said of a set stands at its first.

    Each with its number, and what is said of it.
    """
    places = {_name(written): column for column, written in enumerate(header)}
    found: list[tuple[int, Level, Finding]] = []
    for at, (number, row) in enumerate(rows):
        for level, finding in said.get(number, []):
            column = places.get(finding.field.casefold())
            written = _cell(row, column)
            if level != "wrong" or not written:
                continue
            for below in range(at + 1, len(rows)):
                each, other = rows[below]
                here = said.get(each, [])
                # A row with a finding of its own in that cell goes on from there: else a sheet of
                # nothing but mistakes takes the square of its length.
                has_its_own = any(one.field == finding.field for _, one in here)
                if has_its_own or _cell(other, column) != written:
                    break
                if not here:
                    found.append((each, level, finding))
    return found


def _cell(row: list[object], column: int | None) -> str:
    return cells.text(row[column]) if column is not None and column < len(row) else ""


def _columns(header: list[object], rows: tables.Rows, marked: set[str]) -> list[int]:
    """Columns that identify a row, and those with a finding; a phone has room for no more."""
    return [
        column
        for column, written in enumerate(header)
        if (name := _name(written)) in marked
        or (
            name in TELLING
            and any(column < len(row) and cells.text(row[column]) for _, row in rows)
        )
    ]


def _name(written: object) -> str:
    """The column that a heading names; of an unknown one what is written."""
    found = heading(cells.text(written))
    return found.name or found.written.casefold()


def _neighbours(number: int) -> range:
    return range(number - 1, number + 2)


def _row(
    number: int, row: list[object], headings: tuple[str, ...], said: list[tuple[Level, Finding]]
) -> MarkedRow:
    by_column: dict[str, Level] = {}
    for level, finding in reversed(said):
        by_column[finding.field.casefold()] = level
    return MarkedRow(
        number,
        tuple(
            Cell(written, _shown(cell), by_column.get(_name(written), ""))
            for cell, written in zip(row, headings, strict=True)
        ),
        said[0][0] if said else "",
        tuple(finding for _, finding in said),
    )


def _shown(cell: object) -> str:
    text = cells.text(cell)
    return text if len(text) <= LONGEST_CELL else f"{text[: LONGEST_CELL - 1]}…"
