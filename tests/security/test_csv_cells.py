"""CSV files that the service writes are safe to open in a spreadsheet, and come back unchanged.

The signs that make a spreadsheet run a cell are those of OWASP, "CSV Injection" (2023).
"""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from results.models import Connection
from results.public.csv_cells import as_written, safe
from rigs.models import Line
from tests.intake.conftest import RIGHT, bench, send

__all__ = ["bench", "send"]
OWASP_SIGNS = ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"]


@pytest.mark.parametrize("sign", OWASP_SIGNS)
def test_what_begins_like_a_formula_is_written_as_text(sign):
    assert safe(f'{sign}HYPERLINK("http://example.org")').startswith("'")


@pytest.mark.parametrize("cell", ["Blood", "", "6 = six", 20.5, -3.2, None, True])
def test_everything_else_is_written_as_it_is(cell):
    assert safe(cell) is cell


@given(st.text(alphabet="'=+-@\t a1"))
def test_any_text_comes_back_as_it_went_in(text):
    assert as_written(str(safe(text))) == text


def test_a_template_runs_no_formula_and_can_be_sent_back(as_owner, send, bench):
    formula = "=2+5+cmd|' /C calc'!A0"
    Connection.objects.create(name=formula, kind="line to line", accepted=True)
    Line.objects.create(name="@thin", material="nylon monofilament", accepted=True)
    session = {**RIGHT, "baselines": [{**RIGHT["baselines"][0], "line": "@thin"}]}
    side = {"line": "@thin", "spool": "A"}
    shown = {"connection": formula, "main": side, "leader": side, "parameters": {}}
    session["pull_sets"] = [{**RIGHT["pull_sets"][0], **shown}]
    send(session)

    sheet = as_owner.get("/api/v1/sessions/template.csv").content.decode()

    rows = list(csv.DictReader(io.StringIO(sheet)))
    assert not [cell for row in rows for cell in row.values() if cell and cell[0] in "=+-@\t\r\n"]
    rows[0]["date"] = "2026-02-14"
    for number, row in enumerate(rows):
        row["reading"] = str(15 + number / 10)
        row["failure mode"] = "line" if row["kind"] == "straight" else "join"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    answer = as_owner.post("/api/v1/sessions", out.getvalue(), content_type="text/csv")
    assert answer.status_code == 202, answer.content
    sent = as_owner.get(answer.json()["session"]).json()
    assert sent["pull_sets"][0]["connection"] == formula
