"""XLSX workbooks, honest and hostile."""

import io
import tracemalloc
import zipfile
from datetime import date

import openpyxl
import pytest

from rigs.refusals import Invalid, TooLarge, Unreadable
from tests.intake.conftest import HEADER, ROWS

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def cell(text: str) -> object:
    """A cell as a person's spreadsheet keeps it: numbers and days as such."""
    if text == "2026-01-10":
        return date(2026, 1, 10)
    try:
        return float(text)
    except ValueError:
        return text or None


def workbook(*rows: str, **changed: object) -> bytes:
    """A workbook of the session that is right, some cells changed."""
    book = openpyxl.Workbook()
    for line in [HEADER, *(rows or ROWS)]:
        book.active.append([cell(text) for text in line.split(",")])
    for place, value in changed.items():
        book.active[place] = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def repacked(body: bytes, **parts: bytes) -> bytes:
    """The same workbook with a part of the zip replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for name in old.namelist():
            new.writestr(name, parts.get(name.rpartition("/")[2].partition(".")[0], old.read(name)))
    return out.getvalue()


def test_a_workbook_stores_what_the_document_stores(send, right):
    of_document = send(right).session
    of_document.standing = "replaced"
    of_document.save()

    session = send(workbook(), form=XLSX).session

    assert session.fingerprint == of_document.fingerprint
    assert session.pull_sets.get().pulls.first().reading_written == "15.2"


def test_a_workbook_is_named_wrong_by_row_and_column(refused):
    found = refused(workbook(T3=-5, U8="snapped"), form=XLSX)
    assert [each[:2] for each in found[:2]] == [("3", "reading"), ("8", "failure mode")]
    assert refused(workbook(T3=-5), form=XLSX)[0][:3] == ("3", "reading", "-5 lbf (-22.24 N)")


def test_a_formula_is_refused_by_its_cell(send):
    with pytest.raises(Invalid) as error:
        send(workbook(T3="=T2*1.02", T6="=SUM(T2:T5)", U3='="line"'), form=XLSX)

    said = {(each.row, each.field) for each in error.value.findings if "formula" in each.expected}
    assert said == {("3", "reading"), ("3", "failure mode"), ("6", "reading")}


def test_a_zip_bomb_is_refused_in_little_memory(send):
    bomb = repacked(workbook(), sheet1=b"<worksheet>" + b" " * 100_000_000)
    assert len(bomb) < 200_000

    tracemalloc.start()
    with pytest.raises(TooLarge, match="at most 67108864 are taken"):
        send(bomb, form=XLSX)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 20_000_000


def test_a_zip_that_lies_about_its_size_is_refused(send):
    honest = repacked(workbook(), sheet1=b" " * 1_000_000)
    lying = honest.replace((1_000_000).to_bytes(4, "little"), (1_000).to_bytes(4, "little"))

    with pytest.raises(Unreadable, match="not an XLSX workbook, or it is damaged"):
        send(lying, form=XLSX)


def test_a_sheet_with_a_cell_in_its_last_corner_is_refused(send):
    with pytest.raises(TooLarge, match="The sheet reaches to 1048576"):
        send(workbook(XFD1048576="far"), form=XLSX)


def test_a_cell_of_millions_of_characters_is_refused_in_little_memory(send):
    long = b'<worksheet><sheetData><row><c t="str"><v>' + b"x" * 60_000_000
    bomb = repacked(workbook(), sheet1=long + b"</v></c></row></sheetData></worksheet>")
    assert len(bomb) < 70_000

    tracemalloc.start()
    with pytest.raises(TooLarge, match="holds more than 4000 characters"):
        send(bomb, form=XLSX)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 20_000_000


def test_entities_are_refused_at_sight(send):
    entities = b'<!DOCTYPE worksheet [<!ENTITY many "many">]><worksheet>&many;</worksheet>'

    with pytest.raises(Unreadable, match="document type declaration"):
        send(repacked(workbook(), sheet1=entities), form=XLSX)


def test_a_sheet_that_hides_in_a_part_of_another_name_is_not_read(send):
    """Only what was measured reaches the reader, whatever the workbook says its sheet is."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook())) as old, zipfile.ZipFile(out, "w", 8) as new:
        for name in old.namelist():
            text = old.read(name).replace(b"worksheets/sheet1.xml", b"worksheets/sheet1.dat")
            new.writestr(name.replace("sheet1.xml", "sheet1.dat"), text)

    with pytest.raises(Unreadable, match="The workbook can't be read"):
        send(out.getvalue(), form=XLSX)


@pytest.mark.parametrize(
    "body", [b"not a zip", b"PK\x03\x04 half", workbook()[:2000]], ids=["text", "half", "cut"]
)
def test_what_is_no_workbook_is_refused(send, body):
    with pytest.raises(Unreadable, match="This is not an XLSX workbook"):
        send(body, form=XLSX)


def test_a_zip_of_something_else_is_refused(send):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("letter.txt", "hello")

    with pytest.raises(Unreadable, match="The workbook can't be read"):
        send(out.getvalue(), form=XLSX)


def test_a_zip_packed_in_an_unknown_way_is_refused(send):
    entry = workbook().index(b"PK\x01\x02")
    # Bytes 10 and 11 of a central directory entry are its compression method (APPNOTE 4.3.12).
    unknown = bytearray(workbook())
    unknown[entry + 10 : entry + 12] = b"\x63\x00"

    with pytest.raises(Unreadable, match="not an XLSX workbook, or it is damaged"):
        send(bytes(unknown), form=XLSX)
