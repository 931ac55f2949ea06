"""Headings in the words of our own pages are known, and a wrong one hides no other mistake."""

import re
from datetime import date

import pytest

from results.intake import CSV, dry_run
from results.intake.columns import heading
from results.intake.days import days_meant
from results.intake.layout import laid_out
from results.intake.tables import csv_table
from results.pages.recordings.forms import JoinForm, SessionForm, StraightForm
from rigs.metrology.units import FORCE_UNITS
from rigs.models import Line
from tests.intake.conftest import HEADER, ROWS, sheet
from tests.pages.test_rig_pages import browser

NOT_OF_A_SHEET = {"Baud rate", "Force on each line is"}
"""Fields at the rig that say how a load cell is read."""
LABEL = re.compile(r"<label[^>]*>(.*?)</label>", re.DOTALL)


def labels(page: str) -> set[str]:
    return {re.sub(r"<[^>]*>|\s+", " ", each).strip(" ,") for each in LABEL.findall(page)}


def test_every_field_of_our_pages_is_a_heading_of_a_sheet(db, owner, bench):
    """A tester heads a column as the pages call the same thing."""
    forms = (SessionForm(None, []), StraightForm(), JoinForm())
    ours = {str(field.label) for form in forms for field in form}
    ours |= labels(browser(owner).get("/at-the-rig/").content.decode()) - NOT_OF_A_SHEET
    assert len(ours) > 15

    unknown = {each for each in ours - {"its spool"} if not heading(each).name}

    assert unknown == set()


def test_its_spool_is_that_of_the_line_before_it():
    written = HEADER.replace("main spool", "its spool").replace("leader spool", "its spool")

    layout = laid_out(csv_table(f"{written}\n{ROWS[0]}".encode()))

    assert layout.names == HEADER.split(",")


def test_a_wrong_heading_hides_no_mistake_in_the_rows(refused):
    wrong = sheet().replace("21.0,line", "21.0,snapped").replace("16,join", "-16,join")
    mistakes = refused(wrong)
    for right, misspelt in (("failure mode", "failure mod"), ("parameters", "paramters")):
        found = refused(wrong.replace(right, misspelt))
        assert [each for each in mistakes if each not in found] == []
        assert ("1", misspelt, "an unknown column", f"perhaps '{right}'") in found


def test_an_unknown_heading_is_offered_the_columns_that_are_not_there_yet(refused):
    found = refused(sheet().replace("parameters", "turned").replace("failure mode", "outcome"))

    offered = next(each[3] for each in found if each[1] == "turned")
    assert "parameters" in offered
    assert "rig," not in offered


def test_how_a_join_was_tied_may_stand_once_without_a_label(send):
    """In the first row of its set, as the workbook's explanations say; and of the next set too."""
    straight, joined = ROWS[:4], [row.replace("set 1", "") for row in ROWS[4:]]
    blank = [row.replace("turns main=6", "") for row in joined[1:]]
    again = [joined[0].replace("turns main=6", "turns main=8"), *blank]

    stored = send(sheet(*straight, joined[0], *blank, *again)).session

    assert [each.parameters for each in stored.pull_sets.order_by("pk")] == [
        {"turns_main": 6}, {"turns_main": 8},
    ]  # fmt: skip
    assert {each.pulls.count() for each in stored.pull_sets.all()} == {len(joined)}


def test_two_ways_of_tying_that_take_turns_stay_two_sets(send):
    straight, joined = ROWS[:4], [row.replace("set 1", "") for row in ROWS[4:6]]
    blank = [row.replace("turns main=6", "") for row in joined]
    turns = [row for pair in zip(joined, blank, strict=True) for row in pair]

    stored = send(sheet(*straight, *turns)).session

    assert {each.pulls.count() for each in stored.pull_sets.all()} == {len(joined)}


def test_what_is_said_of_the_session_above_the_headings_is_refused_in_its_own_row(refused):
    header, first, *rest = sheet().splitlines()
    names, cells = header.split(","), first.split(",")
    rows = [",".join(row.split(",")[1:]) for row in (header, first, *rest)]
    assert (names[0], cells[0]) == ("rig", "shed winch")

    found = refused("\n".join(("My day", "Rig: Wilfs winch", "", *rows)))

    assert [each[:2] for each in found] == [("2", "rig")]


def test_checks_speak_in_the_unit_that_the_tester_writes(bench, owner, refused):
    """A session in pounds hears of pounds: only beside them, in brackets, of newtons."""
    Line.objects.filter(name="thin").update(label_strength_N=170, label_strength_written="")
    bench.capacity_N, bench.capacity_written = 50 * FORCE_UNITS["lbf"], "50 lb"
    bench.save()
    warnings = dry_run(owner, sheet().encode(), CSV).warnings
    said = [f"{each.found}, expected {each.expected}" for each in warnings]
    said += [f"{each[2]}, expected {each[3]}" for each in refused(sheet().replace("20.5,", "205,"))]

    assert any("its label strength, 38.22 lbf" in each for each in said)
    assert any("at most 50 lb, the rig's capacity" in each for each in said)
    assert [each for each in said if re.search(r"\d N\b(?!\))", each)] == []


@pytest.mark.parametrize("written", ["29/11/25", "29.11.25"])
def test_a_year_of_two_figures_is_none_that_is_still_to_come(written):
    assert days_meant(written) == (date(2025, 11, 29),)
