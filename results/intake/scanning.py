"""Measuring the XML of a workbook (ECMA-376) while it is unpacked, before anything is made of it.

A parser that keeps nothing sees each part once, so that what is too much is refused at the byte
where it becomes too much. A document type declaration, the home of entities that multiply, is
refused at sight; no spreadsheet writes one.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.parsers import expat

from django.utils.translation import gettext

from results.intake.limits import (
    DEEPEST_TAG,
    LONGEST_CELL,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_FINDINGS,
    MOST_LINES,
    MOST_TAGS,
    MOST_TEXT,
    MOST_TOKEN_BYTES,
)
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable


class Scan:
    """One part of a workbook under way. ``shared`` is the length of each text that sheets share.

    Cells are counted in whichever part they stand, since only the workbook says which part is a
    sheet. Raises Unreadable and TooLarge from ``feed`` and ``end``, Invalid from ``end``.
    """

    def __init__(self, shared: list[int]) -> None:
        self.shared = shared
        self.lengths: list[int] = []
        self.row = self.column = self.last_row = self.last_column = 0
        self.cells = self.text = self.tags = self.since_tag = 0
        self.formulas: list[str] = []
        self.open: list[str] = []
        self.cell = ""
        self.is_shared = False
        self.value: list[str] = []
        self.length = 0
        self.parser = expat.ParserCreate("UTF-8", None)
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._refuse_doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters

    def feed(self, chunk: bytes) -> None:
        self.since_tag += len(chunk)
        self._parse(chunk, final=False)
        if self.since_tag > MOST_TOKEN_BYTES:
            raise TooLarge(
                gettext(
                    "The workbook holds more than %(most_token_bytes)s bytes between two "
                    "tags: one cell takes at most %(longest_cell)s characters."
                )
                % {"most_token_bytes": MOST_TOKEN_BYTES, "longest_cell": LONGEST_CELL}
            )

    def end(self) -> None:
        self._parse(b"", final=True)
        if self.formulas:
            # A formula's shown value may be old, and a computed reading is not a reading.
            raise Invalid(
                gettext(
                    "The workbook holds formulas; paste their values instead, and readings "
                    "as they were read."
                ),
                [_formula(cell) for cell in self.formulas],
            )

    def _parse(self, chunk: bytes, *, final: bool) -> None:
        try:
            self.parser.Parse(chunk, final)
        except expat.ExpatError as error:
            raise Unreadable(
                gettext("The workbook can't be read: %(error)s.") % {"error": error}
            ) from error

    def _refuse_doctype(self, *_: object) -> None:
        raise Unreadable(
            gettext("The workbook holds a document type declaration, which none needs.")
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        self.tags += 1
        self.since_tag = 0
        self.open.append(name)
        if self.tags > MOST_TAGS or len(self.open) > DEEPEST_TAG:
            raise TooLarge(
                gettext(
                    "The workbook holds more than %(most_tags)s tags, or more than "
                    "%(deepest_tag)s one in another."
                )
                % {"most_tags": MOST_TAGS, "deepest_tag": DEEPEST_TAG}
            )
        if name == "c":
            self._start_cell(attributes)
        elif name == "row":
            self._start_row(attributes.get("r"))
        elif name == "f" and len(self.formulas) < MOST_FINDINGS:
            self.formulas.append(self.cell)
        elif name == "si":
            self.length = 0

    def _start_row(self, number: str | None) -> None:
        self.row = _number(number) if number is not None else self.row + 1
        self.column, self.cell = 0, f"{self.row}"
        self._reach(self.row, 0)

    def _start_cell(self, attributes: dict[str, str]) -> None:
        self.cells += 1
        self.is_shared, self.value, self.length = attributes.get("t") == "s", [], 0
        row, self.column = self.row, self.column + 1
        if (place := attributes.get("r")) is not None:
            letters = place.rstrip("0123456789")
            row, self.column = _number(place[len(letters) :]), _column(letters)
        self.cell = place or ""
        self._reach(row, self.column)

    def _reach(self, row: int, column: int) -> None:
        self.last_row = max(self.last_row, row)
        self.last_column = max(self.last_column, column)
        if row > MOST_LINES or column > MOST_COLUMNS:
            raise TooLarge(
                gettext(
                    "The sheet reaches to %(cell)s; at most %(most_lines)s rows and "
                    "%(most_columns)s columns fit."
                )
                % {
                    "cell": self.cell or self.last_row,
                    "most_lines": MOST_LINES,
                    "most_columns": MOST_COLUMNS,
                }
            )
        if max(self.cells, self.last_row * self.last_column) > MOST_CELLS:
            raise TooLarge(
                gettext(
                    "The sheet has more than %(most_cells)s cells by %(cell)s, blank ones "
                    "between others counted."
                )
                % {"most_cells": MOST_CELLS, "cell": self.cell or self.last_row}
            )

    def _end(self, name: str) -> None:
        name = name.rpartition(":")[2]
        self.since_tag = 0
        self.open.pop()
        if name == "si":
            self.lengths.append(self.length)
        elif name == "c":
            self._count(self._length_shown())

    def _length_shown(self) -> int:
        """Characters that the cell shows, looked up where it shares its text with others."""
        number = "".join(self.value)
        if not self.is_shared or not (number.isascii() and number.isdigit()):
            return 0  # counted as they came
        place = int(number)
        return self.shared[place] if place < len(self.shared) else 0

    def _characters(self, characters: str) -> None:
        inside = self.open[-1]
        if inside not in ("t", "v"):
            return
        self.length += len(characters)
        if self.length > LONGEST_CELL:
            raise TooLarge(
                gettext("The cell %(cell)s holds more than %(longest_cell)s characters.")
                % {"cell": self.cell or "of a shared text", "longest_cell": LONGEST_CELL}
            )
        if inside == "v" and self.is_shared:
            self.value.append(characters)
        self._count(len(characters))

    def _count(self, characters: int) -> None:
        self.text += characters
        if self.text > MOST_TEXT:
            raise TooLarge(
                gettext("The workbook's cells show more than %(most_text)s characters.")
                % {"most_text": MOST_TEXT}
            )


def measured(chunks: Iterator[bytes], shared: list[int]) -> list[int]:
    """Take one part to its end; the lengths of the texts in it that sheets may share.

    Raises Unreadable, TooLarge and Invalid.
    """
    scan = Scan(shared)
    for chunk in chunks:
        scan.feed(chunk)
    scan.end()
    return scan.lengths


def _number(digits: str) -> int:
    if not (digits.isascii() and digits.isdigit()):
        raise Unreadable(gettext("The workbook can't be read: a cell has no row number."))
    return int(digits[:8]) if len(digits) <= 8 else 10**8


def _column(letters: str) -> int:
    if not (letters.isascii() and letters.isalpha()):
        raise Unreadable(gettext("The workbook can't be read: a cell has no column."))
    if len(letters) > 4:
        return 10**6
    number = 0
    for letter in letters.upper():
        number = 26 * number + ord(letter) - 64
    return number


def _formula(cell: str) -> Finding:
    return Finding(
        cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"),
        cell if cell else "",
        gettext("a formula"),
        gettext("a value"),
    )
