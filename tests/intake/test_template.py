"""The sheet to fill in."""

import csv
import io

import pytest

from tests.intake.conftest import RIGHT

TEMPLATE = "/api/v1/sessions/template.csv"


def rows_of(answer) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.content.decode())))


def filled_in(rows: list[dict[str, str]]) -> str:
    """The sheet as a tester fills it in: the day, readings and failure modes."""
    rows[0]["date"] = "2026-02-14"
    for number, row in enumerate(rows):
        straight = row["kind"] == "straight"
        strong = row["main line"] == "thick"
        row["reading"] = str((45 if strong else 20.5 if straight else 15) + number / 10)
        row["failure mode"] = "line" if straight else "join"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def test_a_stranger_gets_an_example(as_stranger):
    answer = as_stranger.get(TEMPLATE)

    assert answer["Content-Disposition"] == 'attachment; filename="session.csv"'
    assert {row["kind"] for row in rows_of(answer)} == {"straight", "joined"}


def test_a_tester_gets_their_own_rig_lines_and_joins(as_owner, send, right):
    send(right)

    rows = rows_of(as_owner.get(TEMPLATE))

    assert (rows[0]["rig"], rows[0]["revision"], rows[0]["unit"]) == ("shed winch", "1", "lbf")
    joined = next(row for row in rows if row["kind"] == "joined")
    assert joined["connection"] == "Double uni"
    assert (joined["main line"], joined["leader line"]) == ("thin", "thick")
    assert joined["parameters"] == "turns main=6"


def test_the_sheet_filled_in_can_be_sent(as_owner, send, right):
    send(right)
    sheet = filled_in(rows_of(as_owner.get(TEMPLATE)))

    answer = as_owner.post("/api/v1/sessions", sheet, content_type="text/csv")

    assert answer.status_code == 202, answer.content
    session = as_owner.get(answer.json()["session"]).json()
    assert session["pulled_on"] == "2026-02-14"
    assert [each["connection"] for each in session["pull_sets"]] == ["Double uni"]


def test_ties_that_were_pulled_twice_stand_in_it_once(as_owner, send, right):
    send(right)
    send({**RIGHT, "pulled_on": "2026-01-11"})

    rows = rows_of(as_owner.get(TEMPLATE))

    assert {row["label"] for row in rows if row["kind"] == "joined"} == {"set 1"}


@pytest.mark.parametrize("value", [True, 2.5, "water"])
def test_parameters_come_back_as_a_sheet_takes_them(as_owner, send, right, value):
    name = {True: "glued", 2.5: "setting_force", "water": "wetted_with"}[value]
    right["pull_sets"][0]["parameters"] = {name: value}
    send(right)

    answer = as_owner.post(
        "/api/v1/sessions",
        filled_in(rows_of(as_owner.get(TEMPLATE))),
        content_type="text/csv",
    )

    session = as_owner.get(answer.json()["session"]).json()
    assert session["pull_sets"][0]["parameters"] == {name: value}
