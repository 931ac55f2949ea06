"""Workbooks of the session that is right, each with what its name says is odd about it.

Written by openpyxl when a test asks for them: comments, merged cells and formats are what a
spreadsheet keeps beside its values.
"""

import io
from collections.abc import Callable

import openpyxl
from openpyxl.comments import Comment
from openpyxl.worksheet.worksheet import Worksheet

ABOVE = [("rig", "shed winch"), ("revision", 1), ("date", "2026-01-10"), ("state", "dry")]
HEADINGS = ["Kind", "Knot", "Main line", "Spool", "Leader", "Leader spool", "Parameters",
            "Discarded ties", "Reading lbs", "Failure", "Note"]  # fmt: skip
TIE = ["Double uni", "thin", "A", "thick", "B", "turns main=6", 1]
STRAIGHT = [(20.5, "line"), (21.0, "line"), (20.2, "line"), (19.1, "grip")]
JOINED = [(15.2, "join"), (16.0, "join"), (15.5, "slip"), (None, "void")]
FIRST = len(ABOVE) + 3
"""The row of the first pull; the first joined one is four below it."""
READING, FAILURE = "I", "J"


def rows(unit: str = " lbs") -> list[list[object]]:
    """The lines of a sheet with the session above its headings."""
    headings = [f"Reading{unit}" if each == "Reading lbs" else each for each in HEADINGS]
    straight = [["straight", None, "thin", "A", None, None, None, None, *pull] for pull in STRAIGHT]
    joined = [["joined", *TIE, *pull] for pull in JOINED]
    return [*map(list, ABOVE), [], headings, *straight, *joined]


def workbook(
    change: Callable[[Worksheet], object] = lambda _: None,
    *,
    unit: str = " lbs",
    others: dict[str, list[list[object]]] | None = None,
    hidden: bool = False,
) -> bytes:
    """A workbook with these rows on its first sheet, changed, and ``others`` by their names."""
    book = openpyxl.Workbook()
    book.active.title = "Pulls"
    for row in rows(unit):
        book.active.append(row)
    change(book.active)
    for name, lines in (others or {}).items():
        sheet = book.create_sheet(name)
        sheet.sheet_state = "hidden" if hidden else "visible"
        for line in lines:
            sheet.append(line)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def commented(cell: str, words: str) -> Callable[[Worksheet], object]:
    """A comment on a cell."""
    return lambda sheet: setattr(sheet[cell], "comment", Comment(words, "a tester"))
