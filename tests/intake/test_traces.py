"""Traces in an upload: the reading that follows from one, what is refused, and what is asked."""

from __future__ import annotations

import json

import msgspec
import numpy as np
import pytest

from results.accounts.close import close_account
from results.intake import dry_run, reading
from results.intake.limits import MOST_SAMPLES, MOST_SAMPLES_OF_A_SESSION
from results.models import Pull, Trace
from rigs.metrology.bounds import TRACE_FORCE_N
from rigs.metrology.traces.encoding import decode
from rigs.refusals import TooLarge
from tests.traces import trace

PLACE = "pull_sets[0].pulls[0]"


def first(document: dict) -> dict:
    """The first pull of the set."""
    return document["pull_sets"][0]["pulls"][0]


@pytest.fixture
def traced(right) -> dict:
    """The right session, its first joined pull recorded and not read."""
    first(right).pop("reading")
    first(right)["trace"] = trace(15.2, unit="lbf")
    return right


def test_the_peak_of_a_trace_is_the_reading_of_a_pull_without_one(send, traced):
    receipt = send(traced)

    pull = Pull.objects.get(pull_set__label="set 1", number=1)
    assert (pull.reading_written, pull.unit) == ("15.2", "lbf")
    assert pull.reading_N == pytest.approx(15.2 * 4.4482216152605)  # lbf: SP 811 B.8
    assert [each.expected for each in receipt.warnings if each.found == "none at 1 pull"] == [
        "a reading: the peak of the trace was taken, in the unit of the trace"
    ]


def test_the_unit_of_the_reading_is_that_of_the_trace_and_not_of_the_session(send, traced):
    first(traced)["trace"] = trace(67.6, unit="N")

    send(traced)

    pull = Pull.objects.get(pull_set__label="set 1", number=1)
    assert (pull.reading_written, pull.unit, pull.reading_N) == ("67.6", "N", 67.6)


def test_a_trace_comes_back_sample_by_sample_as_it_was_sent(send, traced):
    sent = {**trace(15.25, unit="lbf", zero=-0.05), "started_at": "2026-01-10T18:00:00+01:00"}
    first(traced)["trace"] = sent

    send(traced)

    kept = Trace.objects.get()
    time_s, force = decode(bytes(kept.samples))
    assert np.round(time_s, 6).tolist() == sent["time_s"]
    assert np.round(force, 6).tolist() == sent["force"]
    assert (kept.count, kept.unit, kept.step) == (len(sent["force"]), "lbf", 0.01)
    assert kept.started_at.isoformat() == "2026-01-10T17:00:00+00:00"
    assert kept.peak_N == pytest.approx(15.25 * 4.4482216152605, rel=1e-6)


def test_traces_of_straight_line_and_of_joins_go_to_their_own_pulls(send, right):
    peaks = {}
    for name in ("baselines", "pull_sets"):
        for number, pull in enumerate(right[name][0]["pulls"], 1):
            if pull["failure_mode"] != "void":
                pull["reading"] = peaks[name, number] = float(f"{10 + number}.{len(name)}")
                pull["trace"] = trace(pull["reading"], unit="lbf", decimals=3)

    send(right)

    kept = {
        ("baselines" if one.pull.baseline_id else "pull_sets", one.pull.number): one.peak_N
        for one in Trace.objects.select_related("pull")
    }
    assert kept == {key: pytest.approx(peak * 4.4482216152605) for key, peak in peaks.items()}


def test_a_void_pull_may_have_a_trace_and_no_reading(send, right):
    right["pull_sets"][0]["pulls"][3]["trace"] = trace(3.0, unit="lbf")

    send(right)

    void = Pull.objects.get(failure_mode="void")
    assert void.reading_written == ""
    assert void.trace.peak_N == pytest.approx(3.0 * 4.4482216152605)


def test_a_reading_that_its_trace_contradicts_is_asked_about_and_stored(send, owner, right):
    first(right)["trace"] = trace(14.2, unit="lbf")

    (asked,) = dry_run(owner, json.dumps(right).encode(), "application/json").asked

    assert (asked.row, asked.field) == (PLACE, "reading")
    assert asked.found == "15.2 lbf, and a trace that peaks at 14.2 lbf"
    assert send(right).created


def test_a_reading_within_what_the_sampling_misses_is_not_asked_about(owner, right):
    """At 5 samples a second and 20 lbf a second, up to 4 lbf may lie between two samples."""
    first(right)["trace"] = trace(14.2, unit="lbf", samples_per_s=5)

    assert not dry_run(owner, json.dumps(right).encode(), "application/json").asked


def spoiled(**members) -> dict:
    return {**trace(15.2, unit="lbf"), **members}


BACK = trace(15.2, unit="lbf")
BACK["time_s"][5] = 0.01


@pytest.mark.parametrize(
    ("sent", "place", "field", "found", "expected"),
    [
        (spoiled(unit="furlong"), ".trace", "unit", "'furlong'", "a unit: N, kN"),
        (
            spoiled(force=[1.0, 2.0]),
            ".trace",
            "force",
            "2 values",
            "as many as there are in time_s",
        ),
        (
            {"unit": "N", "time_s": [0, 1, 2], "force": [0, 1, 0]},
            ".trace",
            "force",
            "3 values",
            "at least 4 samples",
        ),
        (
            spoiled(force=[*BACK["force"][:-1], 9e9]),
            ".trace",
            f"force[{len(BACK['force']) - 1}]",
            "9000000000",
            "a number from -449",
        ),
        (spoiled(force=[0.0, None, 2.0]), ".trace", "force[1]", "nothing", "a number"),
        (spoiled(force=[0.0, "15.2", 2.0]), ".trace", "force[1]", "'15.2'", "a number"),
        (spoiled(force=[0.0, True, 2.0]), ".trace", "force[1]", "true", "a number"),
        (spoiled(force="15.2"), ".trace", "force", "'15.2'", "as many forces as seconds"),
        (
            spoiled(time_s=[-1.0, 0.0, 1.0, 2.0], force=[0, 1, 2, 0]),
            ".trace",
            "time_s[0]",
            "-1",
            "a number",
        ),
        (BACK, ".trace", "time_s[5]", "0.01", "at least 0.1, the second before it"),
        (
            spoiled(time_s=[0.0, 1.0, 2.0, 90_000.0], force=[0, 1, 2, 0]),
            ".trace",
            "time_s",
            "90000 s from first to last",
            "one pull of above 0 and at most 3600 s",
        ),
        (spoiled(started_at="18:00"), ".trace", "started_at", "'18:00'", "the moment of second 0"),
        (
            spoiled(started_at="1931-01-10T18:00:00Z"),
            ".trace",
            "started_at",
            "1931-01-10T18:00:00+00:00",
            "a moment from 1950-01-01",
        ),
        (spoiled(colour="red"), ".trace", "colour", "an unknown field", "one of unit, time_s"),
        ([1, 2], "", "trace", "a list", "force over time"),
        (
            {"time_s": [0, 1, 2, 3], "force": [0, 1, 2, 0]},
            ".trace",
            "unit",
            "nothing",
            "a unit of force",
        ),
    ],
)
def test_a_trace_that_can_not_be_is_refused_by_place_and_sample(
    sent, place, field, found, expected, refused, right
):
    first(right).pop("reading")
    first(right)["trace"] = sent

    findings = refused(right)

    ((row, named, is_there, wanted),) = findings
    assert (row, named, is_there) == (PLACE + place, field, found)
    assert wanted.startswith(expected)


@pytest.mark.parametrize("wrong", ["NaN", "Infinity", "-Infinity", "1e400"])
def test_a_force_that_is_no_number_is_named(wrong, refused, right):
    first(right)["trace"] = {"unit": "N", "time_s": [0, 1, 2, 3], "force": [0, 54321, 1, 0]}
    ((row, field, *_),) = refused(json.dumps(right).replace("54321", wrong).encode())

    assert (row, field) == (f"{PLACE}.trace", "force[1]")


def test_more_samples_than_a_trace_may_have_are_refused(refused, right):
    times = [at / 1000 for at in range(MOST_SAMPLES + 1)]
    first(right)["trace"] = {"unit": "N", "time_s": times, "force": [1.0] * len(times)}

    found = refused(right)

    assert [(row, field, count) for row, field, count, _ in found] == [
        (f"{PLACE}.trace", "time_s", "60001 numbers"),
        (f"{PLACE}.trace", "force", "60001 numbers"),
    ]


def test_more_samples_than_a_session_may_have_are_refused(send, right):
    size = MOST_SAMPLES // 2
    one = {"unit": "N", "time_s": list(range(size)), "force": [1] * size}
    pulls = MOST_SAMPLES_OF_A_SESSION // size + 1
    right["pull_sets"][0]["pulls"] = [{"failure_mode": "join", "trace": one}] * pulls

    with pytest.raises(TooLarge, match=r"630000 samples; at most 600000"):
        send(right)


def test_a_long_session_of_traces_with_a_slip_of_the_pen_is_told_which(refused, right):
    """As long as it may be, so that no bound on members hides what is wrong."""
    size = 10_000
    one = {
        "unit": "N",
        "time_s": [at / 100 for at in range(size)],
        "force": [at % 10_000 / 100 for at in range(size)],
    }
    many = [{"failure_mode": "join", "trace": one} for _ in range(50)]
    right["pull_sets"][0]["pulls"] = [*many, {"reading": 15.0, "failure_mode": "knit"}]

    ((row, field, *_),) = refused(msgspec.json.encode(right))

    assert (row, field) == ("pull_sets[0].pulls[50]", "failure_mode")


def test_the_document_takes_what_a_sheet_leaves_out(right):
    """A sheet has no column for a trace, and needs none: it is read as before."""
    found = reading.read(json.dumps(right).encode(), "application/json")
    assert all(pull.trace is None for part in found.document.parts() for pull in part.pulls)


def test_closing_an_account_keeps_the_samples_and_not_when_they_were_taken(send, owner, traced):
    first(traced)["trace"]["started_at"] = "2026-01-10T18:00:00Z"
    send(traced)
    before = bytes(Trace.objects.get().samples)

    close_account(owner, keep=True)

    kept = Trace.objects.get()
    assert kept.started_at is None
    assert bytes(kept.samples) == before


def test_forces_below_zero_are_taken_as_far_as_a_cell_that_was_not_tared_reads(send, traced):
    first(traced)["trace"] = trace(15.2, unit="N", zero=-12.0)

    send(traced)

    assert Trace.objects.get().zero_before_N == pytest.approx(-12.0, abs=0.01)
    assert TRACE_FORCE_N.lowest < -12
