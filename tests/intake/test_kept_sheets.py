"""Spreadsheets as people keep them: read rightly or asked about, none silently wrong.

The files are in ``tests/data/sheets``; its README says how they were made. All of them hold the
session that is right, each with what its name says is odd about it.
"""

from pathlib import Path

import pytest

from results.intake import CSV, XLSX, dry_run, receive
from results.models import Session
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Refused

KEPT = Path(__file__).parents[1] / "data" / "sheets"
STRAIGHT = [(20.5, "line"), (21.0, "line"), (20.2, "line"), (19.1, "grip")]
JOINED = [(15.2, "join"), (16.0, "join"), (15.5, "slip"), (None, "void")]

READ = {
    "merged-groups-above.xlsx": ["1: found 'Session; What; Main; Leader; Pull', expected a line"],
    "blank-lines.csv": [],
    "capitals.csv": [],
    "chart.xlsx": [],
    "column-without-heading.csv": ["column G: found a column that is not one of a session's"],
    "day-as-number.csv": ["found 46032, read as 2026-01-10"],
    "day-as-number.xlsx": ["found 46032, read as 2026-01-10"],
    "day-in-words.csv": [],
    "day-order-in-heading.csv": [],
    "day-with-slashes.csv": [],
    "day-with-stops.csv": [],
    "day-with-time.csv": [],
    "day-with-time.xlsx": [],
    "days-from-1904.xlsx": [],
    "empty-columns.csv": [],
    "exported-semicolons.csv": [],
    "exported-windows.csv": [],
    "exported-with-formulas.csv": ["10: found a row of 'Mean'", "11: found a row of 'Standard"],
    "headings-again.csv": ["6: found the headings again"],
    "hidden-sheet.xlsx": [],
    "latin-1.csv": ["9: found letters that are not UTF-8, read as 'Straße'"],
    "mean-by-formula.xlsx": ["10: found a row of 'Mean'", "11: found a row of 'Standard"],
    "mean-under-kind.csv": ["10: found a row of 'Mean'"],
    "merged-title.xlsx": [],
    "no-break-spaces.csv": [],
    "not-in-the-corner.xlsx": [],
    "notes-sheet-first.xlsx": ["found the sheet 'Pulls' of 2"],
    "numbers-as-text.xlsx": [],
    "old-line-ends.csv": [],
    "own-column-by-formula.xlsx": ["1, share of first: found a column that is not one"],
    "own-columns.csv": ["1, weather: found a column", "1, hook wire: found a column"],
    "own-words.csv": [],
    "plain-not-saved-again.xlsx": [],
    "plain.xlsx": [],
    "quoted-commas.csv": [],
    "rows-not-used.csv": [
        "6, reading: found a row with neither reading nor failure mode",
        "11, reading: found a row with neither",
        "12, reading: found a row with neither",
    ],
    "same-day-twice-written.csv": [],
    "sep-line.csv": [],
    "session-above.csv": [],
    "tabs.tsv": [],
    "temperature-shown.xlsx": [],
    "title-first.csv": [],
    "totals.csv": ["6: found a row of 'Mean'", "11: found a row", "12: found", "13: found"],
    "unicode-text.txt": [],
    "unit-in-cells.csv": ["2, reading: found a reading in lbf, taken as such, expected N"],
    "windows-letters.csv": ["9: found letters that are not UTF-8, read as 'café'"],
    "words-beside.xlsx": ["1, column R: found cells to the right of the headings"],
    "exported-as-shown.csv": [],
    "shown-and-said-in-kilograms.xlsx": [],
    "shown-in-kilograms.xlsx": ["2, reading: found a reading in kgf, taken as such, expected lbf"],
    "unit-in-heading.csv": [],
}
"""What a reader learns of each file that is read, beside the session that it holds."""
IN_KILOGRAMS = {
    "exported-as-shown.csv", "shown-and-said-in-kilograms.xlsx", "shown-in-kilograms.xlsx",
    "unit-in-heading.csv",
}  # fmt: skip
ASKED = {
    "a-column-a-set.csv": ["2, straight thin: found an unknown column, expected one of rig"],
    "a-row-a-set.csv": [
        "1, 1: found an unknown column",
        "1, reading: found no column of this name",
    ],
    "merged-group-headings.xlsx": ["2, main line: found the column twice, expected each column"],
    "row-struck-through.xlsx": ["5, reading: found a reading struck through"],
    "row-hidden-by-filter.xlsx": ["5: found a hidden row, expected rows that are shown"],
    "semicolons-and-average.csv": [
        "6, rig: found 'Durchschnitt', expected 'shed winch', as in row 2"
    ],
    "tables-side-by-side.csv": ["1, kind: found the column twice, expected each column once"],
    "two-tables.csv": ["7, rig: found 'kind', expected 'shed winch', as in row 2"],
    "units-below.csv": ["2, kind: found nothing, expected straight or joined"],
    "commas-twice-before-a-note.csv": ["8, reading: found '15,5', expected one reading"],
    "commas-twice.csv": ["8, reading: found '15,5', expected one reading"],
    "converted-beside.xlsx": ["the column twice, as 'reading' and 'Reading N'"],
    "day-either-way.csv": ["'10/01/2026', expected 2026-01-10 or 2026-10-01"],
    "day-of-two-figures.csv": ["expected 2026-01-10 or 2026-10-01 or 2010-01-26"],
    "error-by-formula.xlsx": ["7, reading: found '#N/A', expected a value, not a formula"],
    "error-cell.csv": ["7, reading: found '#N/A', expected a value: the spreadsheet could not"],
    "formula-as-text.csv": ["7, reading: found '=O6*1.02', expected a value, not a formula"],
    "misspelt.csv": [
        "1, Discarded tise: found an unknown column, expected perhaps 'discarded ties'"
    ],
    "old-kind.xls": ["a workbook of the old kind (.xls)", "save it without a password as .xlsx"],
    "other-kind.ods": ["a workbook in another form (.ods). Save it as .xlsx"],
    "reading-by-formula.xlsx": ["3, reading: found '20.91', expected a value, not a formula"],
    "shown-in-percent.xlsx": [
        "2, reading: found '2050 %', expected a number, with or without a unit"
    ],
    "shown-in-stone.xlsx": ["2, reading: found '20.5 st', expected a unit: N, kN, lbf"],
    "temperature-fahrenheit.csv": ["1, temperature: found 'F', expected c or °c"],
    "thousands.csv": ["2, reading: found '9,299', expected 9299 or 9.299"],
    "turns-as-column.csv": ["1, Turns main: found an unknown column, expected how it was tied"],
    "two-days.csv": [
        "6, date: found '11 Jan 2026', expected '2026-01-10', as in row 2: one file is"
    ],
    "two-evenings.xlsx": ["found 'Pulls' (7 rows) and 'Next evening' (7 rows), expected pulls on"],
    "two-readings.csv": ["1, Reading 1: found an unknown column, expected perhaps 'reading'"],
}
"""What is asked about each file that is not read."""


def form_of(name: str) -> str:
    return CSV if name.endswith(("csv", "tsv", "txt")) else XLSX


def loads_N(part) -> list[tuple[float | None, str]]:
    return [(pull.reading_N, str(pull.failure_mode)) for pull in part.pulls.all()]


@pytest.mark.parametrize("name", sorted(READ))
def test_a_sheet_as_people_keep_it_is_read_rightly(name, owner, bench):
    body = (KEPT / name).read_bytes()

    session = receive(owner, body, form_of(name), None).session

    factor = FORCE_UNITS["kgf" if name in IN_KILOGRAMS else "lbf"]
    assert (str(session.pulled_on), session.state, session.revision) == ("2026-01-10", "dry", bench)
    baseline, joined = session.baselines.get(), session.pull_sets.get()
    assert (baseline.line.name, baseline.spool) == ("thin", "A")
    for part, pulls in ((baseline, STRAIGHT), (joined, JOINED)):
        expected = [(load and pytest.approx(load * factor), mode) for load, mode in pulls]
        assert loads_N(part) == expected
    assert (joined.connection.name, joined.parameters) == ("Double uni", {"turns_main": 6})
    assert (joined.main_line.name, joined.leader_line.name) == ("thin", "thick")
    assert (joined.leader_spool, joined.discarded_ties) == ("B", 1)


@pytest.mark.parametrize("name", sorted(READ))
def test_what_was_left_out_or_guessed_is_named_and_nothing_else(name, owner, bench):
    warnings = [
        str(each) for each in dry_run(owner, (KEPT / name).read_bytes(), form_of(name)).warnings
    ]
    below_label = [each for each in warnings if "its label strength" in each]

    given = [each for each in warnings if each not in below_label]
    assert len(given) == len(READ[name]), given
    for each, begins in zip(given, READ[name], strict=True):
        assert begins in each


@pytest.mark.parametrize("name", sorted(ASKED))
def test_a_sheet_that_can_be_read_two_ways_is_asked_about(name, owner, bench):
    with pytest.raises(Refused) as error:
        receive(owner, (KEPT / name).read_bytes(), form_of(name), None)

    said = "\n".join([error.value.detail, *map(str, error.value.findings)])
    for each in ASKED[name]:
        assert each in said
    assert not Session.objects.exists()


def test_every_sheet_that_is_kept_is_tried():
    kept = {file.name for file in KEPT.iterdir()} - {"README.md"}
    assert kept == READ.keys() | ASKED.keys()
    assert len(kept) >= 40
