"""The bytes of a recording as rows of cells, read again as often as is asked for.

A recording may have a million rows, so that they are never all held as cells.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, TypeAlias

from django.utils.translation import gettext

from results.intake import recording_cells as cells
from results.intake.cells import Measure
from results.intake.decoding import decoded
from results.intake.limits import LONGEST_CELL, MOST_BYTES, MOST_MEMBERS, MOST_SAMPLES_READ
from results.intake.reading import CSV, JSON, XLSX
from results.intake.workbooks import opened
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable

Row: TypeAlias = tuple[int, list[object]]

TEXTS = (CSV, "text/plain", "text/tab-separated-values")
FORMS = (*TEXTS, XLSX, JSON)
SEPARATORS = (";", "\t", ",", "|", "->", " ")
"""Of the cells of a line, the surer ones first; a blank is any number of blanks."""
LOOKED_AT = 400
"""Rows from which the form of a recording is judged."""
_SEPARATOR_LINE = re.compile(r'\A\s*"?sep=([;,\t|])"?[ \t]*\r?\n?', re.IGNORECASE)


@dataclass(frozen=True)
class Rows:
    """Rows of cells with their number on the sheet, from 1.

    ``facts`` are what a JSON document says beside its samples. ``separator`` and ``decimal`` are
    those of a text; ``is_sure`` is False where its lines can be read in two ways.
    """

    read: Callable[[], Iterator[Row]]
    separator: str = ""
    decimal: str = "."
    is_sure: bool = True
    remarks: tuple[Finding, ...] = ()
    facts: dict[str, object] = field(default_factory=dict)

    def head(self) -> list[Row]:
        return list(islice(self.read(), LOOKED_AT))


def rows_of(body: bytes, content_type: str, separator: str, decimal: str) -> Rows:
    """The rows in these bytes. Raises Unreadable, Invalid and TooLarge."""
    if len(body) > MOST_BYTES:
        raise TooLarge(
            gettext("The recording has %(body)s bytes; at most %(most_bytes)s are taken.")
            % {"body": len(body), "most_bytes": MOST_BYTES}
        )
    form = content_type.partition(";")[0].strip().lower()
    if form in TEXTS:
        return _of_text(body, separator, decimal)
    if form == XLSX:
        return _of_workbook(body, decimal)
    if form == JSON:
        return _of_json(body)
    raise Unreadable(
        gettext("A recording is sent as %(forms)s, not %(form)s.")
        % {"forms": gettext(" or ").join(FORMS), "form": form or gettext("nothing")}
    )


def _of_text(body: bytes, separator: str, decimal: str) -> Rows:
    text, remarks = decoded(body)
    named = _SEPARATOR_LINE.match(text)
    if named:
        text, separator = text[named.end() :], separator or named[1]
    lines = text.count("\n") + text.count("\r") + 1
    if lines > MOST_SAMPLES_READ + LOOKED_AT:
        raise TooLarge(
            gettext("The recording has %(lines)s lines; at most %(most)s samples are taken.")
            % {"lines": lines, "most": MOST_SAMPLES_READ}
        )
    head = [line for line in islice(_lines(text), LOOKED_AT) if line.strip(" \t,;")]
    separator, decimal, is_sure = _written(head, separator, decimal)
    first = 2 if named else 1

    def read() -> Iterator[Row]:
        for row, line in enumerate(_lines(text), start=first):
            if line.strip(" \t,;\x1a"):
                yield row, [*_split(line, separator)]

    return Rows(read, separator, decimal, is_sure, tuple(remarks))


def _lines(text: str) -> Iterator[str]:
    for line in io.StringIO(text, newline=None):
        yield line.rstrip("\n")[:LONGEST_CELL]


def _split(line: str, separator: str) -> list[str]:
    if '"' in line and len(separator) == 1:
        try:
            return next(csv.reader([line], delimiter=separator, skipinitialspace=True))
        except csv.Error:
            pass
    if separator == " ":
        return line.split()
    return [cell.strip() for cell in line.split(separator)]


def _written(head: list[str], separator: str, decimal: str) -> tuple[str, str, bool]:
    """Separator and decimal mark by which most lines are numbers, in the fewest columns.

    Lines with commas alone, such as ``0,5``, may be two columns or one: not sure, unless they are
    of different kinds on the way (three pieces are never one number).
    """
    decimals = [decimal] if decimal else [".", ","]
    best, most = (separator or ",", decimals[0]), -1.0
    are_quoted = all('"' in line for line in head[-3:])
    for each in [separator] if separator else SEPARATORS:
        for mark in decimals:
            if each == mark and not are_quoted:
                continue
            share = _share_of_numbers(head, each, mark)
            if share > most + 1e-9:
                best, most = (each, mark), share
    least = most - 0.01
    is_one_column = _share_of_numbers(head, ";", ",") >= least > 0 and not any(
        ";" in line or "." in line for line in head
    )
    could_be_two = any("," in line for line in head) and _share_of_numbers(head, ",", ".") >= least
    heading = _split(head[0], ",") if head else []
    names_two = len(heading) > 1 and cells.number(heading[0], ".") is None
    is_sure = bool(separator or decimal) or names_two or not (is_one_column and could_be_two)
    return *best, is_sure


def _share_of_numbers(head: list[str], separator: str, decimal: str) -> float:
    """How many of the lines hold nothing but numbers and times, and how evenly wide they are.

    One cell may be none, such as a word; of two readings that leave equally many lines the one that
    makes numbers of all cells has a little more.
    """
    widths = []
    whole = 0
    for line in head:
        row = [cell for cell in _split(line, separator) if cell]
        values = [
            cells.number(cell, decimal) is not None or cells.moment(cell) is not None
            for cell in row
        ]
        if row and values[-1] and sum(values) >= len(row) - 1:
            widths.append(len(row))
            whole += all(values)
    if not widths:
        return 0.0
    usual = max(set(widths), key=widths.count)
    return (widths.count(usual) + 0.002 * whole) / len(head) + (0.001 if usual > 1 else 0)


def _of_workbook(body: bytes, decimal: str) -> Rows:
    """Numbers to 15 digits, which is what a spreadsheet shows of them: 0.3 is kept in binary."""
    book = opened(body)

    def numbers(name: str) -> int:
        head = islice(book.rows(name), LOOKED_AT)
        return sum(1 for row in head if any(isinstance(cell, float) for cell in row))

    best = max(book.names, key=numbers)
    remarks = []
    if len(book.names) > 1:
        found = gettext("the sheet '%(name)s' of %(sheets)s") % {
            "name": best, "sheets": len(book.names),
        }  # fmt: skip
        remarks = [Finding("", "", found, gettext("one sheet: only this one is read"))]

    def read() -> Iterator[Row]:
        for number, row in enumerate(book.rows(best), start=1):
            if any(cell != "" for cell in row):
                yield number, [_to_15_digits(cell) for cell in row]

    if not decimal:
        texts = [c for _, row in islice(read(), LOOKED_AT) for c in row if isinstance(c, str)]
        decimal = max(".,", key=lambda mark: sum(cells.mark_shown(text) == mark for text in texts))
    return Rows(read, decimal=decimal, remarks=tuple(remarks))


def _to_15_digits(cell: object) -> object:
    if not isinstance(cell, float):
        return cell
    shown = float(f"{cell:.15g}")
    return Measure(shown).showing(cell.shows) if isinstance(cell, Measure) else shown


def _of_json(body: bytes) -> Rows:
    if body.count(b",") + body.count(b"[") + body.count(b"{") > MOST_MEMBERS:
        raise TooLarge(gettext("The JSON has more members than are taken: send it as CSV."))
    try:
        document = json.loads(body.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise Unreadable(gettext("This is not JSON that can be read.")) from error
    facts: dict[str, object] = {}
    if isinstance(document, dict):
        facts = {name: value for name, value in document.items() if not _is_list(value)}
        lists = {name: value for name, value in document.items() if _is_list(value)}
        if len(lists) == 1 and _is_list_of(next(iter(lists.values())), list | dict):
            document = next(iter(lists.values()))
        else:
            return Rows(lambda: _of_columns(lists), facts=facts)
    if _is_list_of(document, dict):
        names = list(dict.fromkeys(name for row in document for name in row))
        table = [[row.get(name, "") for name in names] for row in document]
        return Rows(lambda: _numbered([names, *table]), facts=facts)
    if _is_list_of(document, list):
        return Rows(lambda: _numbered(document), facts=facts)
    raise Unreadable(
        gettext("The JSON holds no samples: lists of times and forces, or a list of samples.")
    )


def _is_list(value: object) -> bool:
    return isinstance(value, list)


def _is_list_of(value: object, kind: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, kind) for each in value)


def _of_columns(columns: dict[str, Any]) -> Iterator[Row]:
    if len({len(column) for column in columns.values()}) > 1:
        raise Invalid(
            gettext("The lists of the recording differ in length."),
            [
                Finding("", name, gettext("%(n)s values") % {"n": len(column)},
                        gettext("as many as in the others"))
                for name, column in columns.items()
            ],
        )  # fmt: skip
    yield from _numbered([[*columns], *map(list, zip(*columns.values(), strict=True))])


def _numbered(table: list[list[object]]) -> Iterator[Row]:
    yield from enumerate(([*row] for row in table), start=1)
