"""What a workbook shows beside its values is read or asked about, and never silently dropped."""

import pytest

from results.intake import CSV, XLSX, dry_run, receive
from results.models import Session
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Invalid
from tests.intake.odd_workbooks import FAILURE, FIRST, READING, commented, rows, workbook

JOINED = FIRST + 4


@pytest.fixture
def warned(owner, bench):
    """The warnings of a workbook and the ones of them that are asked about, as texts."""

    def warned(body: bytes, form: str = XLSX) -> tuple[list[str], list[str]]:
        preview = dry_run(owner, body, form)
        every = [str(each) for each in preview.warnings if "label strength" not in str(each)]
        return every, [str(each) for each in preview.asked]

    return warned


@pytest.fixture
def refusal(owner, bench):
    """Why a workbook is refused: the detail, then its findings."""

    def refusal(body: bytes, form: str = XLSX) -> str:
        with pytest.raises(Invalid) as error:
            receive(owner, body, form, None)
        assert not Session.objects.exists()
        return "\n".join([error.value.detail, *map(str, error.value.findings)])

    return refusal


def test_the_workbook_that_is_changed_below_is_read_without_a_warning(warned):
    assert warned(workbook()) == ([], [])


@pytest.mark.parametrize("column", [READING, FAILURE, "B"])
def test_a_comment_on_a_pull_is_asked_about_and_kept_as_its_note(column, warned, owner):
    body = workbook(commented(f"{column}{JOINED}", "slipped\nat 12 first"))

    every, asked = warned(body)

    assert f"{JOINED}, " in asked[0]
    assert "found a comment: 'slipped at 12 first'" in asked[0]
    assert any("'join', and the note 'slipped at 12 first'" in each for each in every)
    first = receive(owner, body, XLSX, None).session.pull_sets.get().pulls.first()
    assert first.note == "slipped at 12 first"


def test_a_comment_elsewhere_is_named_as_not_read(warned):
    every, asked = warned(workbook(commented("B1", "the old winch")))

    assert asked == []
    (each,) = every
    assert each.startswith("1, connection: found a comment: 'the old winch'")


@pytest.mark.parametrize("hidden", [False, True])
def test_a_sheet_of_pulls_without_headings_is_named_with_its_rows(hidden, warned):
    body = workbook(others={"Next evening": rows()[FIRST - 1 :]}, hidden=hidden)

    (each,) = warned(body)[0]

    assert "the sheet 'Next evening' with 8 rows that could be pulls" in each


def test_two_sheets_of_pulls_with_the_session_above_are_refused_by_name_and_rows(refusal):
    said = refusal(workbook(others={"February": rows()}))

    assert "'Pulls' (8 rows) and 'February' (8 rows)" in said


def test_a_sheet_without_pulls_is_not_named(warned):
    others = {"Notes": [["cold, door open"], ["humidity", 60]], "Lists": [["kind"], ["joined"]]}
    assert warned(workbook(others=others)) == ([], [])


def test_merged_cells_give_their_value_to_each_of_their_rows(warned, owner):
    def merge(sheet):
        for column in "BCE":
            sheet.merge_cells(f"{column}{JOINED}:{column}{JOINED + 3}")
        sheet.merge_cells(f"C{FIRST}:C{FIRST + 3}")

    body = workbook(merge)

    every, _ = warned(body)

    assert len(every) == 3
    assert f"main line: found merged cells: C{FIRST}:C{FIRST + 3}, C{JOINED}:C{JOINED + 3}" in (
        "\n".join(every)
    )
    session = receive(owner, body, XLSX, None).session
    assert session.baselines.get().pulls.count() == 4
    assert session.pull_sets.get().pulls.count() == 4


def test_a_reading_merged_over_two_pulls_is_no_reading_of_the_second(refusal):
    said = refusal(
        workbook(lambda sheet: sheet.merge_cells(f"{READING}{FIRST}:{READING}{FIRST + 1}"))
    )

    assert f"{FIRST + 1}, reading: found nothing" in said


def formatted(code: str, times: float = 1.0):
    def change(sheet):
        for number in range(FIRST, FIRST + 8):
            cell = sheet[f"{READING}{number}"]
            if cell.value is not None:
                cell.value, cell.number_format = cell.value * times, code

    return change


def test_readings_shown_with_their_unit_need_none_in_the_heading(owner, bench):
    body = workbook(formatted('0.00" kg"', 0.45), unit="")

    session = receive(owner, body, XLSX, None).session

    assert session.unit == "kgf"
    first = session.baselines.get().pulls.first()
    assert first.reading_N == pytest.approx(20.5 * 0.45 * FORCE_UNITS["kgf"])


def test_of_readings_shown_with_two_units_each_is_taken_and_the_second_asked_about(warned):
    def mixed(sheet):
        formatted('0.0" lb"')(sheet)
        sheet[f"{READING}{JOINED}"].number_format = '0.0" kg"'

    every, _ = warned(workbook(mixed, unit=""))

    assert any("found a reading in kgf, taken as such, expected lbf" in each for each in every)


def test_a_missing_column_is_named_and_nothing_else_is(refusal):
    def gone(sheet):
        for number in range(FIRST - 1, FIRST + 8):
            sheet.cell(number, 1).value = None

    assert refusal(workbook(unit="")).startswith("The headings lack: unit.\n6, unit: found no")
    assert refusal(workbook(gone)) == (
        "The headings lack: kind.\n6, kind: found no column of this name, expected one"
    )


@pytest.mark.parametrize(
    ("code", "shown"), [("0.0%", "74.5 %"), ("0.00%", "74.5 %"), ("0%", "74.5 %")]
)
def test_a_percentage_is_quoted_as_the_cell_shows_it(code, shown, refusal):
    def percent(sheet):
        sheet[f"{READING}{JOINED}"] = 0.745
        sheet[f"{READING}{JOINED}"].number_format = code

    assert f"{JOINED}, reading: found '{shown}'" in refusal(workbook(percent))


@pytest.mark.parametrize("gap", [1, 3])
def test_a_gap_between_pulls_of_one_tie_is_asked_about(gap, warned):
    def apart(sheet):
        sheet.insert_rows(JOINED + 2, gap)

    (asked,) = warned(workbook(apart))[1]

    rest = JOINED + 2 + gap
    assert f"rows {JOINED}-{JOINED + 1} and {rest}-{rest + 1}" in asked
    assert "one set of 4, as it was read" in asked


def test_pulls_numbered_under_the_heading_pull_are_not_readings(warned, refusal):
    def numbered(sheet):
        sheet.insert_cols(1)
        sheet.cell(FIRST - 1, 1, "Pull")
        for number in range(8):
            sheet.cell(FIRST + number, 1, number + 1)

    def with_mean(sheet):
        numbered(sheet)
        sheet.cell(FIRST + 7, 1, "Mean")
        sheet.cell(FIRST + 7, 10, 15.6)
        sheet.cell(FIRST + 7, 11, "join")

    (each,) = warned(workbook(numbered))[0]
    assert "Pull: found a column that is not one of a session's" in each
    assert "found 'Mean', and a kind and a failure mode" in refusal(workbook(with_mean))


def sheet(
    *above: str, reading: str = "15,2", mode: str = "join", head: str = "", note: str = ""
) -> bytes:
    """The same as CSV with semicolons; of the first joined pull what is given."""
    lines = [";".join("" if cell is None else str(cell) for cell in row) for row in rows()]
    changed = lines[JOINED - 1].replace("15.2", reading).replace(";join", f";{mode};{note}")
    lines[JOINED - 1] = changed
    lines[FIRST - 2] += head
    return "\n".join([*above, *lines]).encode()


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("~15", "the number that the scale showed, as 15"),
        ("ca. 15", "the number that the scale showed, as 15"),
        (">20", "the highest number reached, as 20, and failure mode 'none'"),
        ("20+", "the highest number reached, as 20, and failure mode 'none'"),
        ("<12", "it may be below 12"),
        ("15.1 (slip)", "15.1 alone, and failure mode 'slip'"),
        ("15.1 (slipped)", "15.1 alone, and failure mode 'slip'"),
        ("15.1*", "15.1 alone, and the rest in the note"),
        ("14-15", "one number: 14 and 15 are two"),
        ("15 \u00b1 0.5", "one number: 15 and 0.5 are two"),
        ("15/16", "one number: 15 and 16 are two"),
        ("15:16", "one number: 15 and 16 are two"),
        ("?", "failure mode 'void'"),
    ],
)
def test_a_refused_reading_is_answered_by_what_to_write(written, expected, refusal):
    said = refusal(sheet(reading=written), CSV)

    assert f"{JOINED}, reading: found '{written}', expected" in said
    assert expected in said


@pytest.mark.parametrize(
    ("written", "mode"),
    [("knot", "join"), ("Broke at knot", "join"), ("slipped", "slip"), ("line broke", "line"),
     ("broke in grip", "grip"), ("it held", "none"), ("Line", "line")],
)  # fmt: skip
def test_plain_words_for_a_failure_mode_are_taken(written, mode, owner, bench):
    session = receive(owner, sheet(mode=written), CSV, None).session

    assert session.pull_sets.get().pulls.first().failure_mode == mode


@pytest.mark.parametrize("heading", ["time;force\n", "t [s];F [N];zero\n", ""])
def test_force_over_time_is_sent_to_the_page_for_recordings(heading, refusal):
    samples = "".join(f"{at / 10};{at * 1.5};0\n" for at in range(60))

    assert refusal((heading + samples).encode(), CSV).startswith("This looks like force over time")


def test_a_failure_that_is_not_understood_is_quoted_as_written(refusal):
    assert "failure mode: found 'Knoten', expected a failure mode" in refusal(
        sheet(mode="Knoten"), CSV
    )


@pytest.mark.parametrize(
    ("note", "mode", "perhaps"),
    [
        ("slipped", "join", "slip"),
        ("broke in grip", "join", "grip"),
        ("not a good pull, don't count", "join", "void"),
        ("grip slipped", "join", ""),
        ("never slipped", "join", ""),
        ("cold hands", "join", ""),
        ("slipped", "slip", ""),
    ],
)
def test_a_note_that_contradicts_the_failure_mode_is_quoted(note, mode, perhaps, warned):
    every, _ = warned(sheet(mode=mode, note=note), CSV)

    if not perhaps:
        assert every == []
    else:
        (each,) = every
        assert f"found '{mode}', and the note '{note}'" in each or f'the note "{note}"' in each
        assert f"is it perhaps '{perhaps}'?" in each


def test_a_line_above_the_headings_that_was_not_read_is_quoted_and_a_title_is_no_warning(warned):
    (each,) = warned(sheet("My shed, winter", "Temp F;46"), CSV)[0]

    assert each.startswith("2: found 'Temp F; 46', expected 'temperature: ...', in c")
    assert warned(sheet("My shed, winter"), CSV) == ([], [])


def test_a_unit_above_and_another_in_the_heading_are_both_quoted(refusal, warned):
    assert "1, unit: found 'kg', and 'Reading lbs' in row 7" in refusal(sheet("Units;kg"), CSV)
    assert warned(sheet("Units;lb"), CSV) == ([], [])


def test_another_day_is_said_once_with_its_rows(refusal):
    def days(sheet):
        sheet["L6"] = "Date"
        for number in range(FIRST, FIRST + 8):
            sheet[f"L{number}"] = "11.01.2026" if number >= JOINED else None

    said = refusal(workbook(days))

    assert said.count("11.01.2026") == 1
    assert "found '11.01.2026' in 4 rows, expected '2026-01-10', as in row 3" in said
    assert "split it" in said


def test_a_measure_with_the_unit_of_its_column_is_read(owner, bench):
    def diameter(sheet):
        sheet["L6"] = "Join diameter"
        sheet[f"L{JOINED}"] = "1,4 mm"

    session = receive(owner, workbook(diameter), XLSX, None).session

    assert session.pull_sets.get().join_diameter_m == pytest.approx(0.0014)


def test_a_dry_run_says_what_was_read_of_each_part(owner, bench):
    def scaled(sheet):
        formatted("0.0,", 1000)(sheet)
        sheet.cell(1, 3, None)

    said = dry_run(owner, workbook(scaled), XLSX).read_as

    assert said == (
        "10 Jan 2026, dry, lbf; straight line thin, spool A: 20.5, 21, 20.2, 19.1 (4 pulls)",
        "10 Jan 2026, dry, lbf; set 1: 15.2, 16, 15.5, \u2013 (4 pulls)",
    )


def test_a_dry_run_shows_every_digit_that_would_be_stored(owner, bench):
    def rounded(sheet):
        sheet[f"{READING}{JOINED}"] = 15.14321
        sheet[f"{READING}{JOINED}"].number_format = "0.0"

    assert "set 1: 15.14321, " in dry_run(owner, workbook(rounded), XLSX).read_as[1]
