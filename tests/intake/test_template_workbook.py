"""The workbook to fill in: what it offers, and that it is taken as it was filled in."""

import io
import subprocess
from datetime import date

import openpyxl
import pytest

from deploy.tools.processes import TIMEOUT_S
from results.intake import XLSX
from results.intake.columns import COLUMNS
from results.intake.explained import EXPLAINED
from results.models import Connection, Pull, Session
from tests import making

WORKBOOK = "/api/v1/sessions/template.xlsx"


def offered(book, column: str) -> list[str]:
    """What the drop-down below a heading lists."""
    pulls = book.worksheets[0]
    letter = next(cell.column_letter for cell in pulls[1] if cell.value == column)
    for each in pulls.data_validations.dataValidation:
        if f"{letter}2" in each.sqref:
            sheet, _, cells = each.formula1.partition("!")
            rows = book[sheet.strip("'")][cells.replace("$", "")]
            return [str(cell.value) for (cell,) in rows]
    return []


def filled_in(body: bytes) -> bytes:
    """The workbook as a tester fills it in, with two rows of the set not used."""
    book = openpyxl.load_workbook(io.BytesIO(body))
    pulls = book.worksheets[0]
    at = {cell.value: cell.column for cell in pulls[1]}
    pulls.cell(2, at["date"]).value = date(2026, 2, 14)
    last = max(row for row in range(2, 60) if pulls.cell(row, at["kind"]).value)
    for row in range(2, last - 1):
        straight = pulls.cell(row, at["kind"]).value == "straight"
        strong = pulls.cell(row, at["main line"]).value == "thick"
        load = (45 if strong else 20.5 if straight else 15) + row / 10
        pulls.cell(row, at["reading"]).value = load
        pulls.cell(row, at["failure mode"]).value = "line" if straight else "join"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def saved_again(body: bytes, folder) -> bytes:
    """The workbook as LibreOffice saves it, having opened it."""
    (folder / "session.xlsx").write_bytes(body)
    profile = f"-env:UserInstallation=file://{folder}/profile"
    subprocess.run(
        [
            "soffice",
            "--headless",
            profile,
            "--convert-to",
            "xlsx:Calc MS Excel 2007 XML",
            "--outdir",
            str(folder / "saved"),
            str(folder / "session.xlsx"),
        ],
        check=True,
        capture_output=True,
        timeout=TIMEOUT_S,
    )
    return (folder / "saved" / "session.xlsx").read_bytes()


def test_it_offers_ones_own_rigs_lines_and_joins_and_explains_each_column(as_owner, send, right):
    send(right)
    making.line("=SUM(A1)")
    Connection.objects.create(name="Hidden", kind=Connection.Kind.CRIMP)

    answer = as_owner.get(WORKBOOK)

    assert answer["Content-Type"] == XLSX
    assert answer["Content-Disposition"] == 'attachment; filename="session.xlsx"'
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["Pulls", "Explanations", "Lists"]
    assert offered(book, "rig") == ["shed winch"]
    assert offered(book, "connection") == ["Double uni", "Palomar"]
    assert offered(book, "main line") == ["'=SUM(A1)", "braid", "thick", "thin"]
    assert offered(book, "failure mode") == list(Pull.FailureMode.values)
    assert {"lbf", "kgf", "N"} <= set(offered(book, "unit"))
    columns = [cell.value for cell in book["Pulls"][1]]
    explained = [row[0].value for row in book["Explanations"].iter_rows(min_row=2) if row[0].value]
    assert explained == columns
    formulas = [
        cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"
    ]
    assert not formulas


def test_every_column_of_a_sheet_is_explained():
    assert tuple(EXPLAINED) == COLUMNS


@pytest.mark.parametrize("spreadsheet", ["as it came", "saved by LibreOffice"])
def test_the_workbook_filled_in_is_taken_as_it_is(as_owner, send, right, spreadsheet, tmp_path):
    send(right)
    body = filled_in(as_owner.get(WORKBOOK).content)
    if spreadsheet == "saved by LibreOffice":
        body = saved_again(body, tmp_path)

    answer = as_owner.post("/api/v1/sessions", body, content_type=XLSX)

    assert answer.status_code == 202, answer.content
    session = Session.objects.get(pulled_on=date(2026, 2, 14))
    assert {row.line.name for row in session.baselines.all()} == {"thin", "thick"}
    joined = session.pull_sets.get()
    assert (joined.connection.name, joined.parameters) == ("Double uni", {"turns_main": 6})
    assert [pull.reading_written for pull in joined.pulls.all()] == ["16.2", "16.3", "16.4"]
    unused = [each for each in answer.json()["warnings"] if "neither reading" in each["found"]]
    assert [each["row"] for each in unused] == ["15", "16"]


def test_a_stranger_gets_one_to_look_at(as_stranger, db):
    book = openpyxl.load_workbook(io.BytesIO(as_stranger.get(WORKBOOK).content))
    assert offered(book, "rig") == []
    assert offered(book, "state") == ["dry", "wetted", "soaked"]
