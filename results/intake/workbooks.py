"""The first sheet of an XLSX file, opened without trusting what the file says of itself.

An XLSX file is a zip of XML (ECMA-376). A zip can unpack to a thousand times its size, and a
sheet with one cell in its last corner to 16 thousand million cells, so both are measured first.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator

import python_calamine

from results.intake.limits import MOST_COLUMNS, MOST_FINDINGS, MOST_LINES, MOST_UNPACKED_BYTES
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable

_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml", re.IGNORECASE)
_PLACES = re.compile(rb"""<(?:\w+:)?(?:c|row)\b[^>]*?\sr=["']([A-Za-z]*)(\d{1,9})["']""")
_FORMULAS = re.compile(
    rb"""<(?:\w+:)?c\b[^>]*?\sr=["']([A-Za-z]+\d+)["'][^>]*>\s*<(?:\w+:)?f[\s/>]"""
)
_ANY_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")


def first_sheet(body: bytes) -> Iterator[list[object]]:
    """Rows of cells, from the sheet's first row on. Raises Unreadable, Invalid, TooLarge."""
    parts = _unpacked(body)
    for name, data in parts.items():
        if _SHEET.fullmatch(name):
            _refuse_vast(data)
            _refuse_formulas(data)
    try:
        workbook = python_calamine.load_workbook(io.BytesIO(_packed(parts)))
        rows = workbook.get_sheet_by_index(0).to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, IndexError) as error:
        raise Unreadable(f"The workbook can't be read: {error}.") from error
    except BaseException as error:
        # The reader panics on some cells that no spreadsheet writes, such as endless times.
        if type(error).__name__ != "PanicException":
            raise
        raise Unreadable(f"The workbook can't be read: {error}.") from error
    return (list(row) for row in rows)


def _unpacked(body: bytes) -> dict[str, bytes]:
    """The parts of the zip, none longer than it declares and all together bounded."""
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            declared = sum(part.file_size for part in archive.infolist())
            if declared > MOST_UNPACKED_BYTES:
                raise TooLarge(
                    f"The workbook unpacks to {declared} bytes; "
                    f"at most {MOST_UNPACKED_BYTES} are taken."
                )
            # ZipExtFile reads no further than the declared size, and its checksum shows a lie.
            return {part.filename: archive.read(part) for part in archive.infolist()}
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ) as error:
        raise Unreadable(f"This is not an XLSX workbook: {error}.") from error


def _packed(parts: dict[str, bytes]) -> bytes:
    """A plain zip of what was measured, so that the XLSX reader sees nothing else."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return packed.getvalue()


def _refuse_vast(sheet: bytes) -> None:
    for letters, digits in _PLACES.findall(sheet):
        if int(digits) > MOST_LINES or _column(letters) > MOST_COLUMNS:
            cell = (letters + digits).decode("ascii")
            raise TooLarge(
                f"The sheet reaches to {cell}; at most {MOST_LINES} rows and "
                f"{MOST_COLUMNS} columns fit."
            )


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number


def _refuse_formulas(sheet: bytes) -> None:
    """A formula's shown value may be old, and a computed reading is not a reading."""
    cells = [cell.decode("ascii") for cell in _FORMULAS.findall(sheet)]
    if not cells and not _ANY_FORMULA.search(sheet):
        return
    found = [
        Finding(cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), cell, "a formula", "a value")
        for cell in cells[:MOST_FINDINGS]
    ]
    raise Invalid(
        "The workbook holds formulas; paste their values instead, and readings as they were read.",
        found or [Finding("", "", "a formula", "a value")],
    )
