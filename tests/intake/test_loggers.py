"""Loggers that nobody planned for: what they write is read rightly, or asked about answerably."""

import numpy as np
import pytest

from results.intake.recordings import Answers, read_recording
from rigs.metrology.traces.faults import FaultCode
from tests.metrology.drawn import clock, ramp

NOISE = np.random.default_rng(11).normal(0, 0.03, 400)
FORCES = np.concatenate([ramp(90, hertz=10), ramp(75, hertz=10)])
FORCES = np.round(FORCES + NOISE[: FORCES.size], 2)
TIMES = np.round(clock(FORCES, 10), 3)


def comma(number, places=2):
    return f"{number:.{places}f}".replace(".", ",")


def half_day(seconds):
    """From a second before one in the afternoon, as a twelve-hour clock shows it."""
    whole = 12 * 3600 + 59 * 60 + 59 + seconds
    hour, rest = divmod(whole, 3600)
    return f"{(hour - 1) % 12 + 1:02.0f}:{int(rest // 60):02}:{rest % 60:06.3f} PM"


def of_day(seconds):
    return f"14:{int(3 + (22 + seconds) // 60):02}:{(22 + seconds) % 60:06.3f}".replace(".", ",")


def file(line, head=()):
    rows = [line(t, f) for t, f in zip(TIMES.tolist(), FORCES.tolist(), strict=True)]
    return "\n".join([*head, *rows, ""]).encode()


LOGGERS = {
    "tenths with commas beside whole grams": (
        file(lambda t, f: f"{comma(t)};{100 * f:.0f}", ["Zeit [s];Kraft [g]"]),
        Answers(),
        100,
    ),
    "times of day with a comma, under a heading in another language": (
        file(lambda t, f: f"{of_day(t)};{comma(f)}", ["Uhrzeit;Kraft N"]),
        Answers(),
        1,
    ),
    "times under a heading in no language that is known": (
        file("{:.2f};{:.2f}".format, ["aika;F [N]"]),
        Answers(clock="s"),
        1,
    ),
    "a clock of twelve hours": (
        file(lambda t, f: f"{half_day(t)},{f:.2f}", ["Time,Force (N)"]),
        Answers(),
        1,
    ),
    "decimal commas between commas, in quotation marks": (
        file(lambda t, f: f'"{comma(t)}","{comma(f)}"', ["Zeit,Kraft N"]),
        Answers(),
        1,
    ),
    "milliseconds without a heading": (
        file(lambda t, f: f"{1000 * t:.0f}\t{f:.2f}"),
        Answers(unit="N"),
        1,
    ),
    "force before time, without a heading": (
        file(lambda t, f: f"{f:.2f}\t{1000 * t:.0f}"),
        Answers(unit="N"),
        1,
    ),
    "pulls that go down": (
        file(lambda t, f: f"{1000 * t:.0f};{-f:.2f}", ["ms;N"]),
        Answers(),
        1,
    ),
}


@pytest.mark.parametrize("logger", LOGGERS)
def test_what_a_logger_wrote_is_read_by_what_it_shows(logger):
    body, answers, times = LOGGERS[logger]
    recording = read_recording(body, "text/csv", answers)
    assert recording.time_s == pytest.approx(TIMES - TIMES[0], abs=0.0011)
    assert recording.force == pytest.approx(np.round(times * FORCES, 2), abs=1e-9)
    assert len(recording.cut.pulls) == 2


def test_one_long_pull_that_goes_down_is_turned_too():
    """Under load for most of the time, so that the middle of its samples says nothing of zero."""
    force = np.concatenate([np.zeros(20), -np.linspace(0, 66, 180), np.zeros(20)])
    rows = "\n".join(f"{at / 10:.1f},{f:.2f}" for at, f in enumerate(force))
    recording = read_recording(f"time_s,force_N\n{rows}\n".encode(), "text/csv")
    assert recording.force.max() == 66
    assert [each.expected for each in recording.remarks] == ["forces that rise: turned round"]


def test_one_pull_in_pounds_that_ends_at_its_break_is_not_turned():
    force = np.concatenate([np.zeros(20), np.linspace(0, 15, 180)])
    rows = "\n".join(f"{at / 10:.1f},{f:.2f}" for at, f in enumerate(force))
    recording = read_recording(f"time_s,force_lbf\n{rows}\n".encode(), "text/csv")
    assert recording.force.max() == 15


def test_errors_that_a_logger_writes_now_and_then_are_left_out_by_name():
    rows = file("{:.2f},{:.2f}".format, ["time_s,force_N"]).decode().splitlines()
    for at in (50, 51, 90, 140):
        rows[at] = rows[at].partition(",")[0] + ",ERR"
    recording = read_recording("\n".join(rows).encode(), "text/csv")
    assert recording.force.size == FORCES.size - 4
    assert [each.row for each in recording.remarks] == ["51", "52", "91", "141"]


@pytest.mark.parametrize("moved", [-4.0, 4.0])
def test_the_one_pull_at_which_the_zero_had_moved_is_said(moved):
    peaks = {80: 0.0, 90: 0.0, 85: moved, 88: 0.0}
    force = np.concatenate([ramp(peak, hertz=10) + zero for peak, zero in peaks.items()])
    rows = "\n".join(f"{at / 10:.1f},{f:.2f}" for at, f in enumerate(force))
    recording = read_recording(f"time_s,force_N\n{rows}\n".encode(), "text/csv")
    [fault] = [each for each in recording.cut.faults if each.code == FaultCode.ZERO_MOVED]
    assert fault.pull == 2
    assert fault.numbers == {"force_N": pytest.approx(moved), "others_N": pytest.approx(0)}
