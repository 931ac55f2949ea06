"""The sheets of an XLSX file, opened without trusting what the file says of itself.

An XLSX file is a zip of XML (ECMA-376). A zip can unpack to a thousand times its size, a sheet
with one cell in its last corner to 16 thousand million cells, and one shared text to as many
copies as there are cells, so all of it is measured first, in small pieces.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any

import python_calamine
from django.utils.translation import gettext

from results.intake.cells import Formula, Measure, seen
from results.intake.decoding import refuse_foreign
from results.intake.limits import MOST_PARTS, MOST_UNPACKED_BYTES
from results.intake.scanning import Mark, Measured, Scan, part_of
from rigs.refusals import TooLarge, Unreadable

PIECE = 64 * 1024
SHARED_TEXTS, STYLES, CONTENTS, LINKS = (
    "xl/sharedstrings.xml", "xl/styles.xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels",
)  # fmt: skip
FIRST = (SHARED_TEXTS, STYLES)
"""Parts that the sheets point into, and that are read before them."""
XML = (".xml", ".rels")
ENCRYPTED = 0x1
"""The bit of a part's flags that says so: APPNOTE 4.4.4."""


@dataclass(frozen=True)
class Workbook:
    """A workbook that was measured; ``names`` are its sheets, without the ``hidden`` ones."""

    names: tuple[str, ...]
    hidden: tuple[str, ...]
    book: Any
    measured: Measured

    def rows(self, name: str, most: int | None = None) -> Iterator[list[object]]:
        """Rows of cells, from the sheet's first row on.

        A number is what its format makes of it, a `Measure` where that shows words beside it, an
        error the text that is shown for it, and what a formula came to a `Formula`. Raises
        Unreadable.
        """
        rows = _read(lambda: self.book.get_sheet_by_name(name).to_python(False, most))
        marks = self.measured.marks_of(name)
        for number, row in enumerate(rows, start=1):
            for place, mark in marks.get(number, {}).items():
                if place <= len(row):
                    row[place - 1] = _marked(row[place - 1], mark)
            yield row


def _marked(cell: object, mark: Mark) -> object:
    """The value of a cell with what is known of it beside."""
    if isinstance(cell, float):
        value = cell / 1000**mark.thousands
        if mark.hundreds:
            value = float(f"{100**mark.hundreds * value:.15g}")
        cell = Measure(value).showing(mark.shows) if mark.shows else value
    if mark.is_formula:
        return Formula(mark.error or seen(cell))
    return mark.error or cell


def opened(body: bytes) -> Workbook:
    """The workbook in these bytes. Raises Unreadable, Invalid, TooLarge."""
    refuse_foreign(body, zip_too=False)
    plain, measured = _measured(body)
    book = _read(lambda: python_calamine.load_workbook(io.BytesIO(plain)))
    sheets = [
        sheet
        for sheet in book.sheets_metadata
        if sheet.typ == python_calamine.SheetTypeEnum.WorkSheet
    ]
    is_shown = python_calamine.SheetVisibleEnum.Visible
    names = tuple(sheet.name for sheet in sheets if sheet.visible == is_shown)
    hidden = tuple(sheet.name for sheet in sheets if sheet.visible != is_shown)
    if not names:
        raise Unreadable(gettext("The workbook can't be read: it has no sheet that is shown."))
    return Workbook(names, hidden, book, measured)


def _read(what: Any) -> Any:
    """What the reader of workbooks makes of it. Raises Unreadable in our own words."""
    try:
        return what()
    except (python_calamine.CalamineError, IndexError):
        pass
    except BaseException as error:
        # The reader panics on some cells that no spreadsheet writes, such as endless times.
        if type(error).__name__ != "PanicException":
            raise
    raise Unreadable(
        gettext(
            "The workbook can't be read: it is damaged, or no spreadsheet wrote it. Open it, save "
            "it again as .xlsx, and send that."
        )
    )


def _measured(body: bytes) -> tuple[bytes, Measured]:
    """A plain zip of the XML that was measured, so that the reader of workbooks sees nothing else.

    A part is read no further than its declared size, and its checksum shows a lie.
    """
    packed = io.BytesIO()
    measured = Measured()
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(packed, "w") as new:
            for name, part in _parts(old).items():
                with old.open(part) as unpacked, new.open(name, "w") as copy:
                    scan = Scan(measured, name, may_hold=_may_hold(name))
                    for piece in _copied(unpacked, copy):
                        scan.feed(piece)
                    scan.end()
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ):
        raise Unreadable(
            gettext(
                "This is not an XLSX workbook, or it is damaged. Open it in your spreadsheet, save "
                "it as .xlsx, and send that."
            )
        ) from None
    return packed.getvalue(), measured


def _may_hold(name: str) -> str:
    """What a part is for: the shared texts, formats, list of sheets and links stand only there."""
    purposes = {SHARED_TEXTS: "texts", STYLES: "formats", CONTENTS: "sheets", LINKS: "links"}
    return purposes.get(name, "")


def _parts(archive: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """The parts that are XML, by their names as compared (ECMA-376 part 2), shared ones first."""
    found = archive.infolist()
    declared = sum(part.file_size for part in found)
    if declared > MOST_UNPACKED_BYTES:
        raise TooLarge(
            gettext(
                "The workbook unpacks to %(declared)s bytes; at most "
                "%(most_unpacked_bytes)s are taken."
            )
            % {"declared": declared, "most_unpacked_bytes": MOST_UNPACKED_BYTES}
        )
    if len(found) > MOST_PARTS:
        raise TooLarge(
            gettext("The workbook has %(found)s parts; at most %(most_parts)s are taken.")
            % {"found": len(found), "most_parts": MOST_PARTS}
        )
    if any(part.flag_bits & ENCRYPTED for part in found):
        raise Unreadable(gettext("The workbook has a password. Save it without one."))
    parts = {part_of(part.filename): part for part in found}
    if len(parts) < len(found):
        raise Unreadable(gettext("The workbook can't be read: it has two parts of one name."))
    if "content.xml" in parts:
        raise Unreadable(
            gettext("This is a workbook in another form (.ods). Save it as .xlsx, or as CSV UTF-8.")
        )
    xml = sorted(name for name in parts if name.endswith(XML))
    return {name: parts[name] for name in sorted(xml, key=lambda name: name not in FIRST)}


def _copied(unpacked: IO[bytes], copy: IO[bytes]) -> Iterator[bytes]:
    while piece := unpacked.read(PIECE):
        yield piece
        copy.write(piece)
