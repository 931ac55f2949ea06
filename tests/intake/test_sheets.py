"""Sheets that are wrong, named by row and column; and what a sheet may leave out."""

import pytest

from rigs.refusals import TooLarge, Unreadable
from tests.intake.conftest import HEADER, ROWS, sheet, without


def with_row(number: int, **columns: str) -> str:
    """The sheet that is right, with some cells of one row (the header is row 1) changed."""
    names = HEADER.split(",")
    cells = ROWS[number - 2].split(",")
    for name, value in columns.items():
        cells[names.index(name.replace("_", " "))] = value
    rows = [*ROWS]
    rows[number - 2] = ",".join(cells)
    return sheet(*rows)


def test_an_unknown_column_is_named_with_the_likeliest_one(refused):
    assert refused(sheet().replace("failure mode", "failure_mod")) == [
        ("1", "failure mod", "an unknown column", "perhaps 'failure mode'"),
        ("1", "failure mode", "no column of this name", "one"),
    ]


def test_a_column_that_stands_twice_is_named(refused):
    assert ("1", "label", "the column twice", "each column once") in refused(
        sheet().replace("place", "label")
    )


def test_every_mistake_is_named_by_its_row_and_column(refused):
    text = (
        with_row(3, failure_mode="snapped").replace("thick", "thik").replace("16,join", "-16,join")
    )

    assert [finding[:3] for finding in refused(text)] == [
        ("3", "failure mode", "'snapped'"),
        ("6", "leader line", "'thik'"),
        ("7", "reading", "-16 lbf (-71.17 N)"),
    ]


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("revision", "first", "the number of a revision of the rig, from 1"),
        ("date", "tenth", "a date from 1950-01-01 to today, as 2026-01-31"),
        ("date", "10/01/2026", "2026-01-10 or 2026-10-01: write the one that is meant, so"),
        ("state", "damp", "dry, wetted or soaked"),
        ("unit", "stone", "a unit: N, kN, lbf"),
        ("reading", "n/a", "a number; of a reading that was lost a blank cell"),
        ("reading", "nan", "a number, with or without a unit"),
        ("position", "during", "before, between or after"),
        ("kind", "knotted", "straight or joined"),
    ],
)
def test_a_cell_of_the_first_row_is_named_when_it_is_wrong(refused, column, cell, expected):
    found = refused(with_row(2, **{column: cell}))

    assert found[0][:2] == ("2", column)
    assert found[0][3].startswith(expected)


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("doubled", "perhaps", "yes or no"),
        ("discarded ties", "few", "a whole number from 0 to 10000"),
        ("parameters", "six turns", "name=value, as 'turns main=6'"),
        ("parameters", "turns main=0", "a whole number from 1 to 20"),
        ("parameters", "turns main=6; 8 turns main", "name=value, as 'turns main=6'"),
    ],
)
def test_a_cell_of_a_set_is_named_by_the_row_the_set_begins_in(refused, column, cell, expected):
    rows = [
        *ROWS[:4],
        *(
            row.replace("Double uni,no,thin,A,thick,B,,turns main=6,,1", ",,,,,,,,,")
            for row in ROWS[4:]
        ),
    ]
    names = HEADER.split(",")
    first = ROWS[4].split(",")
    first[names.index(column)] = cell
    rows[4] = ",".join(first)

    ((row, field, _, said),) = refused(sheet(*rows))

    assert (row, field, said) == ("6", column, expected)


def test_two_sessions_in_one_file_are_refused(refused):
    ((row, field, found, expected),) = refused(with_row(5, date="2026-01-11"))

    assert (row, field, found) == ("5", "date", "'2026-01-11'")
    assert expected == "'2026-01-10', as in row 2: one file is one session, split it"


def test_a_set_that_changes_its_tie_half_way_is_refused(refused):
    assert refused(with_row(7, leader_line="braid")) == [
        ("7", "leader line", "'braid'", "'thick', as in the first row of 'set 1'; which is right?")
    ]


def test_straight_line_with_a_connection_is_refused(refused):
    ((row, field, _, expected),) = refused(with_row(2, connection="Double uni"))

    assert (row, field) == ("2", "connection")
    assert expected == "a blank cell: this row is straight line"


def test_a_decimal_comma_that_adds_a_cell_is_explained(refused):
    found = refused(with_row(2, place='",x'.replace('"', "")))

    assert found[0][:3] == ("2", "", "23 cells")
    assert "a decimal comma needs quotes" in found[0][3]


@pytest.mark.parametrize("cell", ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3+cmd(1)"])
def test_a_formula_in_a_cell_is_refused(refused, cell):
    assert ("2", "place", f"'{cell}'", "a value, not a formula") in refused(with_row(2, place=cell))


def test_a_unit_in_the_heading_and_in_a_column_is_one_too_many(refused):
    assert refused(sheet().replace("reading", "reading (N)")) == [
        ("1", "unit", "'reading (N)' and a column 'unit'", "one of the two")
    ]


def test_a_sheet_without_any_unit_is_refused(refused):
    expected = "one, or the unit in the heading, as 'Reading (lbs)'"
    assert ("1", "unit", "no column of this name", expected) in refused(
        sheet().replace(",unit,", ",tyer,", 1).replace(",tyer,discarded", ",note,discarded", 1)
    )


def test_a_unit_that_changes_down_the_column_is_followed(send):
    text = sheet(*ROWS[:4], *(row.replace(",,,,,,joined", ",,,,,kg,joined") for row in ROWS[4:]))
    text = text.replace("15.2", "6.9").replace(",16,", ",7.2,").replace("15.5", "7.0")

    session = send(text).session

    assert session.unit == "lbf"
    assert session.pull_sets.get().pulls.first().unit == "kgf"


def test_sets_without_labels_differ_by_their_ties(send):
    rows = [row.replace("set 1", "") for row in ROWS[:6]]
    other = [
        row.replace("turns main=6", "turns main=8").replace("15.2", "15.9") for row in rows[4:]
    ]

    session = send(sheet(*rows, *other)).session

    assert {row.label: row.parameters["turns_main"] for row in session.pull_sets.all()} == {
        "set 1": 6,
        "set 2": 8,
    }


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "The file is empty: the first row has to name the columns."),
        (b"\n ;; \n", "The file is empty: the first row has to name the columns."),
        (b"rig\n\x00\n", "Row 2 holds a NUL character; this may not be a text file."),
        (b"rig\nSurgeon\x81s\n", "Row 2 holds something that is no letter; this may not be"),
        (b'rig,date\n"open', "Row 2 can't be read as CSV: a quotation mark is opened and not"),
        (b'rig,date\n"a"b,c"d', "Row 2 can't be read as CSV: a quotation mark is opened and"),
        (b'rig,date\n"a"b"",c', "Row 2 can't be read as CSV: a quotation mark stands inside"),
    ],
)
def test_a_file_that_is_no_csv_is_refused(send, body, says):
    with pytest.raises(Unreadable) as error:
        send(body, form="text/csv")

    assert says in error.value.detail


def test_a_header_without_pulls_is_refused(refused):
    assert refused(HEADER)[0][:3] == ("2", "", "nothing")


def test_more_than_20000_rows_are_refused(send):
    with pytest.raises(TooLarge, match="more than 20000 rows"):
        send(sheet(*ROWS, *([ROWS[5]] * 20_000)))


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"," * 10_000_000, "at most 100 columns fit"),
        (HEADER.encode() + b"\n" + b"," * 5_000_000, "at most 100 columns fit"),
        (b"x" * 10_000_000, "a cell is longer than 4000 characters"),
        (b"\n" * 10_000_000, "10000001 lines; at most 100000 are taken"),
    ],
    ids=["commas", "commas below a header", "one cell", "blank lines"],
)
def test_ten_megabytes_of_next_to_nothing_are_refused(send, body, says):
    with pytest.raises((TooLarge, Unreadable), match=says):
        send(body, form="text/csv")


def test_a_file_in_utf_16_is_read(send):
    assert send(sheet().encode("utf-16"), form="text/csv").created


def test_a_line_above_the_headings_is_named_by_its_own_row(refused):
    text = "the winter's second evening\nDay,10/01/2026\n" + without("date", sheet())
    ((row, field, _, expected),) = refused(text)
    assert (row, field) == ("2", "date")
    assert expected.startswith("2026-01-10 or 2026-10-01")


def test_an_error_in_a_cell_is_named_once(refused):
    ((row, field, found, _),) = refused(with_row(7, reading="#DIV/0!"))
    assert (row, field, found) == ("7", "reading", "'#DIV/0!'")
