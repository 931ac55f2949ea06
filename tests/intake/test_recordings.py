"""Recordings as loggers write them are read rightly or asked about, none silently wrong."""

import contextlib
import io
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from results.intake.recordings import Answers, Asks, read_recording
from rigs.refusals import Invalid, Refused, TooLarge, Unreadable
from tests.metrology.drawn import clock, ramp

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORCES = np.round(np.concatenate([ramp(90, hertz=20), ramp(75, hertz=20)]), 2)
TIMES = np.round(clock(FORCES, 20), 3)


def stamp(seconds, sign="."):
    minutes, rest = divmod(float(seconds) + 86395, 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours % 24:02}:{minutes:02}:{rest:06.3f}".replace(".", sign)


def lines(line, before=()):
    rows = [line(t, f) for t, f in zip(TIMES, FORCES, strict=True)]
    return "\n".join([*before, *rows, ""]).encode()


def comma(number):
    return f"{number:.3f}".replace(".", ",")


KINDS = {
    "seconds and newtons by the headings": lines("{:.3f},{:.2f}".format, ["time_s,force_N"]),
    "headings with brackets and semicolons": lines(
        lambda t, f: f"{comma(t)};{comma(f)}", ["Time [s];Force [N]"]
    ),
    "milliseconds": lines(lambda t, f: f"{round(t * 1000)}\t{f}", ["millis\tForce (N)"]),
    "microseconds, named in a row of units": lines(
        lambda t, f: f"{round(t * 1e6)},{f}", ["Elapsed,Load", "us,N"]
    ),
    "a title, a rate and a blank line first": lines(
        lambda t, f: f"{t},{f}", ["Bench log of the shed winch", "", "Time (s),Load (N)"]
    ),
    "a semicolon that is named": lines(
        lambda t, f: f"{comma(t)};{comma(f)}", ["sep=;", "t (s);F (N)"]
    ),
    "aligned by blanks": lines("{:10.3f}   {:9.2f}".format, ["   time_s     force_N"]),
    "quotation marks": lines('"{}","{}"'.format, ['"Time, s","Force, N"']),
    "units behind the numbers": lines("{:.3f} s,{:.2f} N".format, ["Time,Force"]),
    "a counter, a temperature and raw counts beside": lines(
        lambda t, f: f"{round(t * 20)},{t},{round(f * 900)},{f},21.5",
        ["sample,time_s,raw counts,force_N,temperature"],
    ),
    "a serial monitor's stamps across midnight": lines(
        lambda t, f: f"{stamp(t)} -> Force: {f} N", []
    ),
    "days and times with a zone": lines(
        lambda t, f: f"2026-01-10T10:00:{t:06.3f}Z,{f}" if t < 60 else "", ["Timestamp,Force (N)"]
    ),
    "times of day with decimal commas": lines(
        lambda t, f: f"{stamp(t, ',')};{comma(f)}", ["Time;Force N"]
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_recording_is_read_as_it_was_meant(kind):
    recording = read_recording(KINDS[kind], "text/csv")
    assert recording.unit == "N"
    assert recording.force == pytest.approx(FORCES)
    assert recording.time_s == pytest.approx(TIMES, abs=1e-5)
    assert len(recording.cut.pulls) == 2
    assert [figures.peak_N for figures in recording.figures] == pytest.approx([89.5, 74.5])


def test_what_was_read_is_read_alike_again_by_its_own_answers():
    for body in KINDS.values():
        first = read_recording(body, "text/csv")
        again = read_recording(body, "text/csv", first.read_as)
        assert again.time_s.tolist() == first.time_s.tolist()
        assert again.force.tolist() == first.force.tolist()


def test_a_zone_gives_the_moment_at_which_it_began():
    recording = read_recording(KINDS["days and times with a zone"], "text/csv")
    assert recording.started_at.isoformat() == "2026-01-10T10:00:00+00:00"
    trace = recording.trace_of(recording.cut.pulls[1])
    assert trace["started_at"].startswith("2026-01-10T10:00:1")
    assert trace["time_s"][0] == 0
    assert max(trace["force"]) == 74.5


ASKED = {
    "unit": (lines("{},{}".format, ["time_s,force"]), Answers(unit="N")),
    "clock": (
        lines(lambda t, f: f"{round(t * 20)},{f}", ["time,force_N"]),
        Answers(clock="samples", sample_rate_Hz=20),
    ),
    "sample_rate_Hz": (lines(lambda _, f: f"{f} N"), Answers(sample_rate_Hz=20)),
    "time_column": (
        lines(lambda t, f: f"{round(t * 20)};{t};{f} N"),
        Answers(time_column=2, force_column=3),
    ),
    "force_column": (
        lines(lambda t, f: f"{t},{f},{f + 1}", ["time_s,cell A (N),cell B (N)"]),
        Answers(force_column=2),
    ),
    "separator": (
        lines(lambda t, f: f"{round(t * 1000)},{round(f * 100)}"),
        Answers(separator=",", clock="ms", unit="gf"),
    ),
}


GRAMS = np.round(FORCES * 40)
"""As a kitchen scale shows them: up to 3 580 g, without decimals."""


def with_thousands(mark, line="{};{}".format, number=GRAMS):
    return lines_of(
        [f"{round(1000 * t)}" for t in TIMES],
        [f"{f:,.0f}".replace(",", mark) for f in number],
        line,
    )


def lines_of(times, forces, line):
    rows = [line(t, f) for t, f in zip(times, forces, strict=True)]
    return "\n".join(["time ms;force g", *rows, ""]).encode()


@pytest.mark.parametrize("mark", [" ", "\u00a0", "\u202f", "'", "\u2019"])
def test_thousands_are_read_together_where_their_mark_can_mean_nothing_else(mark):
    recording = read_recording(with_thousands(mark), "text/csv")
    assert recording.force.tolist() == GRAMS.tolist()
    assert not recording.remarks


@pytest.mark.parametrize(("mark", "decimal"), [(",", "."), (".", ",")])
def test_a_mark_before_three_digits_is_asked_about_unless_a_number_shows_its_meaning(mark, decimal):
    with pytest.raises(Asks) as asked:
        read_recording(with_thousands(mark), "text/csv")
    assert [finding.field for finding in asked.value.findings] == ["decimal"]
    assert mark in asked.value.findings[0].found

    as_thousands = read_recording(with_thousands(mark), "text/csv", Answers(decimal=decimal))
    assert as_thousands.force.tolist() == GRAMS.tolist()

    tenths = [f"{f + 0.5:,.1f}".translate({44: mark, 46: decimal}) for f in GRAMS]
    shown = read_recording(lines_of(range(len(tenths)), tenths, "{};{}".format), "text/csv")
    assert shown.force == pytest.approx(GRAMS + 0.5)
    assert not shown.remarks


KEPT = Path(__file__).parents[1] / "data" / "recordings"
READ = {
    "tenths-in-binary.xlsx": Answers(),
    "texts-with-commas.xlsx": Answers(),
    "thousands-with-apostrophes.txt": Answers(),
    "thousands-with-blanks.txt": Answers(),
    "thousands-with-commas.csv": Answers(),  # the times have a decimal point
    "thousands-with-points-and-comma.csv": Answers(),
    "thousands-with-points.csv": Answers(decimal=","),
    "three-decimals-with-comma.csv": Answers(),
}
"""What has to be answered before each is read."""


@pytest.mark.parametrize("name", READ)
def test_a_recording_as_people_keep_it_is_read_rightly_or_asked_about(name):
    body = (KEPT / name).read_bytes()
    form = XLSX if name.endswith("xlsx") else "text/csv"
    if READ[name] != Answers():
        with pytest.raises(Asks):
            read_recording(body, form)
    recording = read_recording(body, form, READ[name])
    assert recording.time_s.tolist() == [each / 10 for each in range(285)]
    grams = recording.force * (1000 if recording.unit == "kgf" else 1)
    assert (
        np.round(grams, 9).tolist()
        == np.round(np.concatenate([ramp(90, hertz=10), ramp(75, hertz=10)]) * 40).tolist()
    )
    assert [len(recording.cut.pulls), recording.remarks] == [2, ()]


def test_every_recording_that_is_kept_is_tried():
    assert {each.name for each in KEPT.iterdir()} == {*READ, "README.md"}


@pytest.mark.parametrize("mark", [",", "."])
def test_three_decimals_are_no_thousands(mark):
    written = [f"{f / 40:.3f}".replace(".", mark) for f in GRAMS]
    body = lines_of(range(len(written)), written, "{};{}".format)
    assert read_recording(body, "text/csv").force == pytest.approx(np.round(GRAMS / 40, 3))


@pytest.mark.parametrize("answer", ASKED)
def test_what_a_recording_leaves_open_is_asked_and_the_answer_is_taken(answer):
    body, answers = ASKED[answer]
    with pytest.raises(Asks) as asked:
        read_recording(body, "text/plain")
    assert answer in [finding.field for finding in asked.value.findings]
    assert all(finding.found and finding.expected for finding in asked.value.findings)
    recording = read_recording(body, "text/plain", answers)
    assert recording.time_s == pytest.approx(TIMES, abs=1e-5)
    assert len(recording.cut.pulls) == 2


def test_a_clock_that_is_guessed_is_said():
    recording = read_recording(
        lines(lambda t, f: f"{round(t * 1000)},{f}", ["time,force_N"]), "text/csv"
    )
    assert recording.read_as.clock == "ms"
    assert [remark.field for remark in recording.remarks] == ["clock"]


def test_pounds_stay_pounds_and_their_newtons_stand_beside():
    body = lines("{},{}".format, ["time_s,force_lbs"])
    recording = read_recording(body, "text/csv")
    assert recording.unit == "lbf"
    assert recording.force == pytest.approx(FORCES)
    assert recording.force_N == pytest.approx(FORCES * 4.4482216152605)  # 1959 pound, CGPM 1901
    assert recording.step == pytest.approx(0.5)


def test_a_logger_that_prints_whole_seconds_is_spread_between_them():
    body = lines(lambda t, f: f"10:00:{int(t):02},{f}", ["time,force_N"])
    recording = read_recording(body, "text/csv")
    assert recording.time_s == pytest.approx(TIMES, abs=1e-9)


def test_a_load_cell_mounted_the_other_way_round_is_turned_and_said():
    recording = read_recording(lines(lambda t, f: f"{t},{-f}", ["time_s,force_N"]), "text/csv")
    assert len(recording.cut.pulls) == 2
    assert recording.remarks[0].field == "force"


def test_a_line_cut_short_is_left_out_by_name_and_many_are_refused():
    rows = lines("{},{}".format, ["time_s,force_N"]).decode().splitlines()
    rows[200] = "9.95,8#"
    recording = read_recording("\n".join(rows).encode(), "text/csv")
    assert [remark.row for remark in recording.remarks] == ["201"]
    assert recording.time_s.size == TIMES.size - 1
    rows[100:140] = ["ERR"] * 40
    with pytest.raises(Invalid) as refused:
        read_recording("\n".join(rows).encode(), "text/csv")
    assert refused.value.findings[0].row == "101"


def test_a_workbook_is_read():
    book = openpyxl.Workbook()
    book.active.append(["Time (s)", "Force (N)"])
    for t, f in zip(TIMES, FORCES, strict=True):
        book.active.append([float(t), float(f)])
    out = io.BytesIO()
    book.save(out)
    recording = read_recording(out.getvalue(), XLSX)
    assert recording.force == pytest.approx(FORCES)
    assert recording.time_s == pytest.approx(TIMES)


def test_a_number_of_a_workbook_is_what_its_cell_shows():
    book = openpyxl.Workbook()
    book.active.append(["Time (s)", "Force (N)"])
    for t, f in zip(TIMES, FORCES, strict=True):
        book.active.append([float(t) + 1e-16 * t, float(f) * (1 + 2e-16)])
    out = io.BytesIO()
    book.save(out)
    recording = read_recording(out.getvalue(), XLSX)
    assert recording.force.tolist() == FORCES.tolist()
    assert recording.step == 0.5


def test_a_text_in_a_workbook_is_read_by_its_own_decimal_mark():
    book = openpyxl.Workbook()
    book.active.append(["Time (s)", "Force (N)"])
    for t, f in zip(TIMES, FORCES, strict=True):
        book.active.append([comma(t), f"{f:,.2f}".translate({44: ".", 46: ","})])
    out = io.BytesIO()
    book.save(out)
    assert read_recording(out.getvalue(), XLSX).force.tolist() == FORCES.tolist()


def workbook_of(headings, time_format="General", force_format="General", row=lambda t, f: [t, f]):
    book = openpyxl.Workbook()
    if headings:
        book.active.append(headings)
    for t, f in zip(TIMES, FORCES, strict=True):
        book.active.append(row(float(t), float(f)))
        for cell, shows in zip(
            book.active[book.active.max_row], (time_format, force_format), strict=False
        ):
            cell.number_format = shows
    return saved(book)


def saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("headings", "time_format", "force_format", "unit"),
    [
        (["Time", "Load"], '0.00 "s"', '0.0 "kg"', "kgf"),
        (["Time (s)", "Load"], "0.00", '0.0\\ "lbs"', "lbf"),
        (["Time (s)", "Load (kg)"], "0.00", "0.0[$ kg]", "kgf"),
        (["t", "F"], "General", '#,##0.0 "N";-0.0 "N"', "N"),
        (["Time (s)", "Load (kg)"], "0.00", '0.0" kg net"', "kgf"),
        ([], '0.00 "s"', '0.0 "N"', "N"),
    ],
)
def test_a_unit_that_only_the_format_of_cells_shows_is_read(
    headings, time_format, force_format, unit
):
    recording = read_recording(workbook_of(headings, time_format, force_format), XLSX)
    assert [recording.unit, recording.read_as.clock] == [unit, "s"]
    assert recording.force == pytest.approx(FORCES)
    assert recording.time_s == pytest.approx(TIMES)


def test_a_format_that_shows_thousandths_is_read_as_it_shows_them():
    body = workbook_of(
        ["Time", "Load"], '0 "ms"', '0.00, "kN"', row=lambda t, f: [1000 * t, 1000 * f]
    )
    recording = read_recording(body, XLSX)
    assert [recording.unit, recording.read_as.clock] == ["kN", "ms"]
    assert recording.force == pytest.approx(FORCES)


def test_a_formula_shows_its_unit_too():
    body = workbook_of(["Time (s)", "Load"], "0.00", '0.0 "kg"')
    with zipfile.ZipFile(io.BytesIO(body)) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    parts[sheet] = re.sub(rb'(r="B\d+" s="\d+") t="n"><v>', rb"\1><f>C1*2</f><v>", parts[sheet])
    assert parts[sheet].count(b"<f>") == len(FORCES)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as new:
        for name, part in parts.items():
            new.writestr(name, part)
    recording = read_recording(packed.getvalue(), XLSX)
    assert recording.unit == "kgf"
    assert recording.force == pytest.approx(FORCES)


@pytest.mark.parametrize(
    ("body", "asked", "words"),
    [
        (workbook_of(["Time (s)", "Force (N)"], "0.00", '0.0 "kg"'), "unit", "'Force (N)'"),
        (workbook_of(["Time (s)", "Force"], "0.00", "0.0%"), "unit", "no unit of force"),
        (workbook_of(["Time (s)", "Force (N)"], "0.00", '0.0 "mV"'), "unit", "'Force (N)'"),
        (workbook_of(["Time (s)", "Force (N)"], '0.00 "ms"', "0.0"), "clock", "ms"),
        (lines("{:.3f},{:.2f} lb".format, ["time_s,force_N"]), "unit", "'force_N'"),
        (lines("{:.3f},{:.2f} lb".format, ["Unit: kg", "time_s,force"]), "unit", "kgf and lbf"),
        (lines("{:.3f} ms,{:.2f}".format, ["Time (s),Force (N)"]), "clock", "ms"),
    ],
)
def test_units_that_gainsay_one_another_are_asked_about(body, asked, words):
    form = XLSX if body[:2] == b"PK" else "text/csv"
    with pytest.raises(Asks) as refused:
        read_recording(body, form)
    [question] = refused.value.findings
    assert question.field == asked
    assert words in question.found
    answer = Answers(**{asked: {"unit": "N", "clock": "s"}[asked]})
    # A cell that holds 0.5 as a percentage shows 50.
    shown = 100 * FORCES if "%" in question.found else FORCES
    assert read_recording(body, form, answer).force == pytest.approx(shown)


def test_a_question_about_the_unit_shows_numbers_that_tell_it_and_the_heading():
    """A recording begins with zeros, which no one can tell a unit by."""
    with pytest.raises(Asks) as refused:
        read_recording(lines("{},{}".format, ["Time (s),Force (daN)"]), "text/csv")
    [question] = refused.value.findings
    assert (
        question.found == "88.5, 89.0, 89.5 ... in the column 'Force (daN)', without a known unit"
    )


@pytest.mark.parametrize(
    ("body", "why", "found"),
    [
        (b"", "is empty", []),
        (lines("ST,GS,{0},net {1} st {1} lb".format), "no rows of numbers", ["ST,GS"]),
        (b"Time (s),Load (N)\n", "no rows of numbers", ["Time (s),Load (N)"]),
    ],
)
def test_a_file_that_is_no_recording_is_refused_by_a_row_of_it(body, why, found):
    with pytest.raises(Unreadable, match=why) as refused:
        read_recording(body, "text/csv")
    findings = [each.found for each in refused.value.findings]
    assert len(findings) == len(found)
    assert all(says in said for says, said in zip(found, findings, strict=True))


@pytest.mark.parametrize("column", [0, 1])
def test_a_recording_that_changes_its_unit_on_the_way_is_refused_by_row(column):
    units = [["s", "g"], ["ms", "kg"]]
    rows = [
        f"{t} {units[(i > 500) * (column == 0)][0]},{f} {units[(i > 500) * (column == 1)][1]}"
        for i, (t, f) in enumerate(zip(TIMES, FORCES, strict=True))
    ]
    with pytest.raises(Invalid, match="changes its unit") as refused:
        read_recording("\n".join(["Time,Force", *rows]).encode(), "text/csv")
    [finding] = refused.value.findings
    assert [finding.row, finding.expected.split(",")[0]] == ["503", ["s", "gf"][column]]


@pytest.mark.parametrize(
    "document",
    [
        {"unit": "N", "time_s": TIMES.tolist(), "force": FORCES.tolist()},
        [{"time_s": t, "force_N": f} for t, f in zip(TIMES.tolist(), FORCES.tolist(), strict=True)],
        {"unit": "N", "sample_rate_Hz": 20, "force": FORCES.tolist()},
    ],
)
def test_json_is_read_as_columns_and_as_samples(document):
    recording = read_recording(json.dumps(document).encode(), "application/json")
    assert recording.force == pytest.approx(FORCES)
    assert recording.time_s == pytest.approx(TIMES)


def test_lists_that_differ_in_length_are_named():
    document = {"time_s": [0, 1, 2, 3], "force_N": [0, 1, 2]}
    with pytest.raises(Invalid) as refused:
        read_recording(json.dumps(document).encode(), "application/json")
    assert [finding.field for finding in refused.value.findings] == ["time_s", "force_N"]


@pytest.mark.parametrize(
    ("body", "form", "refusal"),
    [
        (b"", "text/csv", Unreadable),
        (b"time_s,force_N\n", "text/csv", Refused),
        (b"hello", "image/png", Unreadable),
        (b"PK\x03\x04", XLSX, Unreadable),
        (b"[[[[", "application/json", Unreadable),
        (b'{"force": 1}', "application/json", Refused),
        (b"1\n" * 1_000_500, "text/csv", TooLarge),
        (b"0,0\n" * 3_000_000, "text/csv", TooLarge),
    ],
)
def test_what_is_no_recording_is_refused(body, form, refusal):
    with pytest.raises(refusal):
        read_recording(body, form, Answers(unit="N"))


def test_answers_that_are_none_are_named():
    answers = Answers(unit="stone", clock="hours", sample_rate_Hz=-1, force_column=0)
    with pytest.raises(Invalid) as refused:
        read_recording(KINDS["milliseconds"], "text/csv", answers)
    fields = {finding.field for finding in refused.value.findings}
    assert fields == {"unit", "clock", "sample_rate_Hz", "force_column"}


@given(
    st.sampled_from(["time_s,force (N)", "t_s,force_1 (N),force_2 (N)", ""]),
    st.sampled_from([None, 1, 2, 3, 9]),
    st.sampled_from([None, 1, 2, 3, 9]),
)
def test_any_answers_about_columns_end_in_a_recording_or_a_refusal(heading, time, force):
    """The column of the time is not that of the force, and one that isn't there is neither."""
    body = lines(lambda t, f: f"{t},{f},{f + 1}", [heading] if heading else ())
    answers = Answers(unit="N", time_column=time, force_column=force)
    if time is not None and time in (force, 9):
        with pytest.raises(Asks):
            read_recording(body, "text/csv", answers)
        return
    with contextlib.suppress(Refused):
        read_recording(body, "text/csv", answers)


pieces = st.sampled_from(
    ["0", "1", "2.5", "-3", "1e400", "nan", ",", ";", "\t", " ", "\n", "\n", '"', "N", "time", "ms",
     "force_lb", "12:00:01", "2026-01-10", "sep=;", "\x00", "\ufeff", ":", "é", "_", "sample"]
)  # fmt: skip


@settings(max_examples=400)
@given(st.lists(pieces, max_size=60).map("".join), st.sampled_from(["N", ""]))
def test_any_text_ends_in_a_recording_or_a_refusal(text, unit):
    answers = Answers(unit=unit, sample_rate_Hz=10)
    try:
        recording = read_recording(text.encode(), "text/plain", answers)
    except Refused:
        return
    assert np.isfinite(recording.time_s).all()
    assert np.isfinite(recording.force_N).all()
    assert len(recording.rows) == recording.force.size


@settings(max_examples=200)
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.integers(),
        lambda inner: (
            st.lists(inner, max_size=6)
            | st.dictionaries(st.sampled_from(["time_s", "force", "unit", "x"]), inner, max_size=4)
        ),
        max_leaves=30,
    )
)
def test_any_json_ends_in_a_recording_or_a_refusal(document):
    try:
        read_recording(json.dumps(document).encode(), "application/json", Answers(unit="N"))
    except Refused:
        return
