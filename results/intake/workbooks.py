"""The first sheet of an XLSX file, opened without trusting what the file says of itself.

An XLSX file is a zip of XML (ECMA-376). A zip can unpack to a thousand times its size, a sheet
with one cell in its last corner to 16 thousand million cells, and one shared text to as many
copies as there are cells, so all of it is measured first, in small pieces.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from typing import IO

import python_calamine
from django.utils.translation import gettext

from results.intake.limits import MOST_PARTS, MOST_UNPACKED_BYTES
from results.intake.scanning import measured
from rigs.refusals import TooLarge, Unreadable

PIECE = 64 * 1024
SHARED_TEXTS = "xl/sharedstrings.xml"
XML = (".xml", ".rels")


def first_sheet(body: bytes) -> Iterator[list[object]]:
    """Rows of cells, from the sheet's first row on. Raises Unreadable, Invalid, TooLarge."""
    measured_parts = _measured(body)
    try:
        workbook = python_calamine.load_workbook(io.BytesIO(measured_parts))
        rows = workbook.get_sheet_by_index(0).to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, IndexError) as error:
        raise Unreadable(
            gettext("The workbook can't be read: %(error)s.") % {"error": error}
        ) from error
    except BaseException as error:
        # The reader panics on some cells that no spreadsheet writes, such as endless times.
        if type(error).__name__ != "PanicException":
            raise
        raise Unreadable(
            gettext("The workbook can't be read: %(error)s.") % {"error": error}
        ) from error
    return (list(row) for row in rows)


def _measured(body: bytes) -> bytes:
    """A plain zip of the XML that was measured, so that the reader of workbooks sees nothing else.

    A part is read no further than its declared size, and its checksum shows a lie.
    """
    packed = io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(packed, "w") as new:
            shared: list[int] = []
            for name, part in _parts(old).items():
                with old.open(part) as unpacked, new.open(name, "w") as copy:
                    texts = measured(_copied(unpacked, copy), shared)
                if name == SHARED_TEXTS:
                    shared = texts
                elif texts:
                    raise Unreadable(
                        gettext("The workbook can't be read: its shared texts are elsewhere.")
                    )
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ) as error:
        raise Unreadable(
            gettext("This is not an XLSX workbook: %(error)s.") % {"error": error}
        ) from error
    return packed.getvalue()


def _parts(archive: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """The parts that are XML, by their names as compared (ECMA-376 part 2), shared texts first."""
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
    parts = {part.filename.replace("\\", "/").lower(): part for part in found}
    if len(parts) < len(found):
        raise Unreadable(gettext("The workbook can't be read: it has two parts of one name."))
    xml = sorted(name for name in parts if name.endswith(XML))
    return {name: parts[name] for name in sorted(xml, key=lambda name: name != SHARED_TEXTS)}


def _copied(unpacked: IO[bytes], copy: IO[bytes]) -> Iterator[bytes]:
    while piece := unpacked.read(PIECE):
        yield piece
        copy.write(piece)
