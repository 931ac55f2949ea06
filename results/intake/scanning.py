"""Measuring the XML of a workbook (ECMA-376) while it is unpacked, before anything is made of it.

A parser that keeps nothing sees each part once, so that what is too much is refused at the byte
where it becomes too much. A document type declaration, the home of entities that multiply, is
refused at sight; no spreadsheet writes one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from posixpath import dirname, join, normpath
from typing import NamedTuple, TypeAlias
from xml.parsers import expat

from django.utils.translation import gettext

from results.intake.limits import (
    DEEPEST_TAG,
    LONGEST_CELL,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_FORMATS,
    MOST_LINES,
    MOST_MARKED,
    MOST_TAGS,
    MOST_TEXT,
    MOST_TOKEN_BYTES,
)
from rigs.refusals import TooLarge, Unreadable

LONGEST_ERROR = 20
_THREADED = "[Threaded comment]"
"""With it begins a comment that stands whole in a part of its own, beside words of the program's
about its version, and the comment itself behind 'Comment:'."""
_PERCENTAGES = {"9": "0%", "10": "0.00%"}
"""Formats with a percent sign that every workbook has unwritten (ECMA-376 part 1, 18.8.30)."""
_OF_THE_BOOK = ("numFmt", "font", "strike", "xf", "sheet", "Relationship")
_NOT = ("0", "false")
_RANGE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})(?::([A-Z]{1,3})([0-9]{1,7}))?")
_FORMAT = re.compile(
    r"""(?P<end>;) | "(?P<quoted>[^"]*)" | \\(?P<escaped>.) | _. | \*.
        | \[\$(?P<named>[^\]-]*)[^\]]*\] | \[[^\]]*\] | (?P<sign>%)
        | (?<=[0\#?])(?P<thousands>,+)(?![0\#?,])""",
    re.VERBOSE,
)


@dataclass(frozen=True)
class Mark:
    """What its value alone doesn't say of a cell.

    ``shows`` is what its format puts beside it, ``thousands`` how often that divides it by a
    thousand before it is shown, and ``hundreds`` how often it multiplies it by a hundred.
    """

    is_formula: bool = False
    error: str = ""
    shows: str = ""
    thousands: int = 0
    hundreds: int = 0
    is_struck: bool = False


class Shown(NamedTuple):
    """What a cell format makes of a number: words beside it, and a thousandth, or a hundred times
    it, how often."""

    words: str
    thousands: int
    hundreds: int = 0


PLAIN = Shown("", 0)

Marks: TypeAlias = dict[int, dict[int, Mark]]
"""By row and column of a sheet, both from 1."""


class Merged(NamedTuple):
    """A range of cells that are shown as one: its first and last row and column."""

    cells: str
    first_row: int
    first_column: int
    last_row: int
    last_column: int


@dataclass
class Measured:
    """What is known of a workbook once its parts were measured, each in its turn.

    ``shared`` is the length of each text that sheets share, ``shown`` what each cell format makes
    of a number, ``struck`` whether it strikes it through, ``sheets`` the id of each sheet by
    name, ``links`` the part of each id, and ``hidden`` the rows of each part that are not shown.
    Comments are in parts of their own, which ``targets`` has by the part that links to them.
    """

    shared: list[int] = field(default_factory=list)
    shown: list[Shown] = field(default_factory=list)
    struck: list[bool] = field(default_factory=list)
    sheets: dict[str, str] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)
    marks: dict[str, Marks] = field(default_factory=dict)
    hidden: dict[str, set[int]] = field(default_factory=dict)
    merged: dict[str, list[Merged]] = field(default_factory=dict)
    comments: dict[str, dict[tuple[int, int], str]] = field(default_factory=dict)
    targets: dict[str, list[str]] = field(default_factory=dict)
    marked: int = 0
    area: int = 0

    def marks_of(self, sheet: str) -> Marks:
        """The marks of a sheet. Raises Unreadable where its part was not measured."""
        part = self._part_of(sheet)
        if part not in self.marks:
            raise Unreadable(gettext("The workbook can't be read: a sheet of it is elsewhere."))
        return self.marks[part]

    def hidden_of(self, sheet: str) -> frozenset[int]:
        """The rows of a sheet that are hidden by hand, by a filter or by a group."""
        return frozenset(self.hidden.get(self._part_of(sheet), ()))

    def struck_of(self, sheet: str) -> frozenset[tuple[int, int]]:
        """Row and column of each cell of a sheet that is struck through."""
        return frozenset(
            (row, column)
            for row, marks in self.marks_of(sheet).items()
            for column, mark in marks.items()
            if mark.is_struck
        )

    def merged_of(self, sheet: str) -> tuple[Merged, ...]:
        """The ranges of a sheet whose cells are merged."""
        return tuple(self.merged.get(self._part_of(sheet), ()))

    def comments_of(self, sheet: str) -> dict[tuple[int, int], str]:
        """The words of each comment on a cell of a sheet, by row and column."""
        part = self._part_of(sheet)
        said: dict[tuple[int, int], str] = {}
        for target in self.targets.get(part, ()):
            said |= self.comments.get(target, {})
        return said

    def _part_of(self, sheet: str) -> str:
        return self.links.get(self.sheets.get(sheet, ""), "")


class Scan:
    """One part of a workbook under way.

    Cells are counted in whichever part they stand, since only the workbook says which part is a
    sheet. ``may_hold`` is which of texts, formats, sheets and links this part is for; the first
    two are refused elsewhere, where no sheet would find them. Raises Unreadable and TooLarge from
    ``feed`` and ``end``.
    """

    def __init__(self, measured: Measured, part: str, *, may_hold: str) -> None:
        self.measured = measured
        self.may_hold = may_hold
        self.marks: Marks = measured.marks.setdefault(part, {})
        self.hidden = measured.hidden.setdefault(part, set())
        self.merged = measured.merged.setdefault(part, [])
        self.comments = measured.comments.setdefault(part, {})
        self.part = part
        self.commented: tuple[int, int] | None = None
        self.said: list[str] = []
        self.lengths: list[int] = []
        self.codes: dict[str, str] = dict(_PERCENTAGES)
        self.fonts: list[bool] = []
        self.row = self.column = self.last_row = self.last_column = 0
        self.cells = self.text = self.tags = self.since_tag = 0
        self.open: list[str] = []
        self.cell = ""
        self.style = ""
        self.is_shared = self.is_error = self.is_formula = False
        self.marked_row = 0
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
        self.measured.area += self.last_row * self.last_column
        if self.measured.area > MOST_CELLS:
            raise TooLarge(
                gettext("The sheets of the workbook have more than %(most_cells)s cells together.")
                % {"most_cells": MOST_CELLS}
            )
        if self.may_hold == "texts":
            self.measured.shared = self.lengths
        elif self.lengths:
            raise Unreadable(gettext("The workbook can't be read: its shared texts are elsewhere."))

    def _parse(self, chunk: bytes, *, final: bool) -> None:
        try:
            self.parser.Parse(chunk, final)
        except expat.ExpatError:
            raise Unreadable(
                gettext(
                    "The workbook can't be read: it is damaged, or no spreadsheet wrote it. Open "
                    "it, save it again as .xlsx, and send that."
                )
            ) from None

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
            if attributes.get("hidden") in ("1", "true"):
                self.hidden.add(self.row)
        elif name == "f" and self.open[-2:-1] == ["c"]:
            self.is_formula = True
        elif name == "si":
            self.length = 0
        elif name == "comment":
            self._start_comment(attributes.get("ref", ""))
        elif name == "mergeCell":
            self._merge(attributes.get("ref", ""))
        elif name in _OF_THE_BOOK:
            self._note(name, attributes)

    def _note(self, name: str, attributes: dict[str, str]) -> None:
        """Formats of cells, sheets and links, each where it belongs."""
        inside = self.open[-2] if len(self.open) > 1 else ""
        if name == "numFmt" and inside == "numFmts":
            self.codes[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")[:200]
        elif name == "xf" and inside == "cellXfs":
            if self.may_hold != "formats" or len(self.measured.shown) >= MOST_FORMATS:
                raise Unreadable(
                    gettext("The workbook can't be read: its formats are elsewhere, or too many.")
                )
            code = self.codes.get(attributes.get("numFmtId", ""), "")
            self.measured.shown.append(shown_beside(code))
            font = attributes.get("fontId", "")
            number = int(font) if font.isascii() and font.isdigit() and len(font) < 6 else 0
            self.measured.struck.append(number < len(self.fonts) and self.fonts[number])
        elif name == "font" and inside == "fonts" and len(self.fonts) < MOST_FORMATS:
            self.fonts.append(False)
        elif name == "strike" and inside == "font" and self.open[-3:-2] == ["fonts"]:
            self.fonts[-1] = attributes.get("val") not in _NOT
        elif name == "sheet" and self.may_hold == "sheets":
            link = next((attributes[key] for key in attributes if key.endswith(":id")), "")
            self.measured.sheets[attributes.get("name", "")] = link
        elif name == "Relationship" and attributes.get("Type", "").endswith("/comments"):
            folder = dirname(self.part).removesuffix("/_rels")
            target = attributes.get("Target", "")
            # A target from the root begins with a slash; any other is one from the sheet's folder.
            target = normpath(join("/", folder, target)).lstrip("/")
            sheet = f"{folder}/{self.part.rpartition('/')[2].removesuffix('.rels')}"
            self.measured.targets.setdefault(sheet, []).append(part_of(target))
        elif name == "Relationship" and self.may_hold == "links":
            target = attributes.get("Target", "")
            part = target[1:] if target.startswith("/") else f"xl/{target}"
            self.measured.links[attributes.get("Id", "")] = part_of(part)

    def _start_comment(self, place: str) -> None:
        self.length, self.said = 0, []
        found = _RANGE.fullmatch(place)
        self.commented = (int(found[2]), _column(found[1])) if found else None

    def _end_comment(self) -> None:
        words = "".join(self.said)
        if words.startswith(_THREADED):
            words = words.rpartition("Comment:")[2]
        if self.commented is not None and words.strip():
            self._count_marked()
            self.comments[self.commented] = " ".join(words.split())
        self.commented = None

    def _merge(self, cells: str) -> None:
        found = _RANGE.fullmatch(cells)
        if found is None or not found[3]:
            return
        self._count_marked()
        self.merged.append(
            Merged(cells, int(found[2]), _column(found[1]), int(found[4]), _column(found[3]))
        )

    def _start_row(self, number: str | None) -> None:
        self.row = _number(number) if number is not None else self.row + 1
        self.column, self.cell = 0, f"{self.row}"
        self._reach(self.row, 0)

    def _start_cell(self, attributes: dict[str, str]) -> None:
        self.cells += 1
        self.is_shared, self.value, self.length = attributes.get("t") == "s", [], 0
        self.is_error, self.is_formula = attributes.get("t") == "e", False
        self.style = attributes.get("s", "")
        row, self.column = self.row, self.column + 1
        if (place := attributes.get("r")) is not None:
            letters = place.rstrip("0123456789")
            row, self.column = _number(place[len(letters) :]), _column(letters)
        self.cell, self.marked_row = place or "", row
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
        elif name == "comment":
            self._end_comment()
        elif name == "c":
            self._count(self._length_shown())
            self._mark()

    def _mark(self) -> None:
        shown, style = self.measured.shown, self.style
        number = int(style) if style.isascii() and style.isdigit() and len(style) < 6 else 0
        beside = shown[number] if number < len(shown) and self.length else PLAIN
        struck = self.measured.struck
        is_struck = bool(self.length) and number < len(struck) and struck[number]
        error = "".join(self.value)[:LONGEST_ERROR] if self.is_error else ""
        if not (self.is_formula or error or any(beside) or is_struck):
            return
        self._count_marked()
        row = self.marks.setdefault(self.marked_row, {})
        row[self.column] = Mark(self.is_formula, error, *beside, is_struck)

    def _count_marked(self) -> None:
        self.measured.marked += 1
        if self.measured.marked > MOST_MARKED:
            raise TooLarge(
                gettext("The workbook has formulas, comments, merged cells, or numbers shown with "
                        "a unit, in more than %(most)s cells.") % {"most": MOST_MARKED}
            )  # fmt: skip

    def _length_shown(self) -> int:
        """Characters that the cell shows, looked up where it shares its text with others."""
        number = "".join(self.value)
        if not self.is_shared or not (number.isascii() and number.isdigit()):
            return 0  # counted as they came
        place = int(number)
        return self.measured.shared[place] if place < len(self.measured.shared) else 0

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
        if inside == "v" and (self.is_shared or self.is_error):
            self.value.append(characters)
        if self.commented is not None:
            self.said.append(characters)
        self._count(len(characters))

    def _count(self, characters: int) -> None:
        self.text += characters
        if self.text > MOST_TEXT:
            raise TooLarge(
                gettext("The workbook's cells show more than %(most_text)s characters.")
                % {"most_text": MOST_TEXT}
            )


def part_of(name: str) -> str:
    """The name of a part as it is compared (ECMA-376 part 2)."""
    return name.replace("\\", "/").lower()


def shown_beside(code: str) -> Shown:
    """What a number format makes of a positive number, as ``kg`` beside it by ``0.0" kg"``.

    ECMA-376 part 1, 18.8.31: text in quotation marks, behind a backslash or as ``[$kg]``; each
    comma behind the last digit divides by a thousand, each percent sign multiplies by a hundred.
    """
    words, thousands, hundreds = [], 0, 0
    for found in _FORMAT.finditer(code):
        if found["end"]:
            break
        thousands += len(found["thousands"] or "")
        hundreds += found["sign"] is not None
        words.append(found["quoted"] or found["escaped"] or found["named"] or found["sign"] or "")
    beside = "".join(words).strip()
    says = any(letter.isalpha() or letter == "%" for letter in beside)
    return Shown(beside if says else "", thousands, hundreds)


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
