"""Traces speak for a set or, copied and computed, against it; a set without any is as before."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec import convert

from results.intake import traces as intake_traces
from results.intake.document import TraceDocument
from results.intake.findings import Findings
from results.jobs.queue import enqueue
from results.models import CheckResult, ReviewCase
from results.review.decisions import decide
from results.screening import recordings, screen
from results.screening.checks import run_checks
from results.screening.evidence import evidence_of
from results.statistics.screening.check import Level
from results.statistics.screening.recorded import (
    computed_traces,
    copied_traces,
    is_same,
    recorded,
)
from results.worker import embedded
from tests import making
from tests.people import contributor

LBF = 4.4482216152605
"""Newtons of a pound-force (ISO 80000-4)."""


def white(rng, n):
    return rng.standard_normal(n)


def heavy(rng, n):
    return rng.standard_t(3, n) / 3**0.5


def even(rng, n):
    return rng.uniform(-(3**0.5), 3**0.5, n)


def hum(rng, n):
    """Mains at 50 Hz seen 80 times a second, in whatever phase, on top of a little white noise."""
    return 1.4 * np.sin(2 * np.pi * 50 / 80 * np.arange(n) + rng.uniform(0, 7)) + white(rng, n) / 3


def wandering(rng, n):
    return np.cumsum(white(rng, n)) / 5 + white(rng, n) / 2


def by_turns(rng, n):
    """Quiet and loud by turns, as beside a motor."""
    return white(rng, n) * np.where(np.arange(n) // 40 % 2, 1.5, 0.5)


LAWS = (white, heavy, even, hum, wandering, by_turns)


def pull(rng, law, *, noise=0.3, step=0.01, samples_per_s=80.0, peak=None, steady=False):
    """One pull by a hand that hurries, hesitates and slips, or by a steady motor, as recorded."""
    peak = peak or rng.uniform(60, 120)
    seconds = 5.0 if steady else rng.uniform(3, 9)
    n = int(seconds * samples_per_s)
    rates = np.ones(n) if steady else np.interp(
        np.arange(n), np.linspace(0, n, 8), rng.uniform(0.4, 1.6, 8)
    )  # fmt: skip
    rise = np.cumsum(rates)
    load = peak * rise / rise[-1]
    slack = np.zeros(int(samples_per_s))
    force = np.concatenate([slack, load, slack])
    return np.round((force + noise * law(rng, force.size)) / step) * step


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("steady", [False, True])
def test_two_pulls_of_one_rig_are_never_one_whatever_its_noise(law, steady):
    """A steady motor to like peaks too: 780 pairs of each kind."""
    rng = np.random.default_rng(20261129)
    peak = 90.0 if steady else None
    traces = [
        recorded(pull(rng, law, steady=steady, peak=peak, samples_per_s=rate), 0.01)
        for rate in (10, 80)
        for _ in range(40)
    ]
    assert all(one.is_noisy for one in traces[40:])
    assert sum(one.is_noisy for one in traces[:40]) >= 30, "short pulls say less"
    for same_rate in (traces[:40], traces[40:]):
        check = copied_traces("a set", same_rate, [])
        assert (check.figure, check.level) == (0.0, Level.NONE), check.sentence
    assert computed_traces("a set", traces).level == Level.NONE


def test_a_copy_is_found_in_another_unit_from_another_zero_and_cut():
    rng = np.random.default_rng(3)
    found = 0
    for law in LAWS:
        force = pull(rng, law)
        original = recorded(force, 0.01)
        pounds = np.round(force / LBF, 3)
        for copy, step in (
            (force, 0.01),
            (force[60:] + 0.5, 0.01),
            (pounds, 0.001),
            (np.round(1.07 * force, 2), 0.01),
        ):
            found += is_same(original, recorded(copy, step))
    assert found == 4 * len(LAWS)


def test_a_quiet_scale_has_nothing_said_for_or_against_it():
    """Its noise doesn't show beyond its steps: its traces may well be alike."""
    rng = np.random.default_rng(4)
    traces = [recorded(pull(rng, white, noise=0.01, step=0.1, steady=True), 0.1) for _ in range(20)]
    assert not any(one.is_noisy or one.is_computed for one in traces)
    assert copied_traces("a set", traces, []).level == Level.NONE
    assert computed_traces("a set", traces).level == Level.NONE


@pytest.mark.parametrize("power", [1.0, 1.4, 2.0])
def test_a_computed_curve_is_marked_and_no_more(power):
    rise = 90 * np.linspace(0, 1, 300) ** power
    check = computed_traces("a set", [recorded(np.round(rise, 6), 1e-6)] * 2)
    assert (check.figure, check.level) == (2.0, Level.MARK)


def test_a_trace_of_few_samples_or_none_above_zero_says_nothing():
    for force in ([0.0, 0.0, 0.0, 0.0], [1.0, 50.0, 90.0, 0.0], [-5.0] * 50):
        one = recorded(force, 0.01)
        assert not one.is_noisy
        assert not one.is_computed
        assert not is_same(one, one)


READINGS = (81.0, 84.5, 83.0, 82.0, 86.5, 79.5, 85.0, 80.5)


@pytest.fixture
def world(db):
    """One session with two sets whose readings are the same, pull by pull."""
    session = making.session(making.revision_of(contributor("tester 1")))
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, thin)
    return [making.joined(session, thin, thick, READINGS) for _ in range(2)]


def record(pull_set, rng, law, *, seen=None, pulls=8):
    """Give each pull a trace that peaks at its reading; ``seen`` is one for all of them."""
    for one in pull_set.pulls.order_by("pk")[:pulls]:
        force = pull(rng, law, peak=one.reading_N) if seen is None else seen
        force = np.where(force == force.max(), one.reading_N, np.minimum(force, one.reading_N))
        time_s = np.round(np.arange(force.size) / 80, 4)
        said = {"unit": "N", "time_s": time_s.tolist(), "force": np.round(force, 2).tolist()}
        findings = Findings()
        found = intake_traces.traced(convert(said, TraceDocument), "", findings)
        assert found is not None, findings.kept
        found.row(one).save()


def screened(world) -> list[str]:
    enqueue(world[0].session)
    embedded.drain()
    for each in world:
        each.refresh_from_db()
    return [each.state for each in world]


def test_readings_that_look_copied_are_held_without_traces_and_count_with_their_own(world):
    assert "held" in screened(world)


@pytest.mark.parametrize("law", [heavy, hum])
def test_every_pull_recorded_by_itself_keeps_a_set_from_being_held(world, law):
    rng = np.random.default_rng(5)
    for each in world:
        record(each, rng, law)
    assert "held" not in screened(world)
    said = CheckResult.objects.filter(name="traces of its own")
    assert {(one.figure, one.threshold, one.level) for one in said} == {(8.0, 8.0, "none")}


def test_copied_traces_hold_a_set_and_excuse_nothing(world):
    rng = np.random.default_rng(6)
    seen = pull(rng, white, peak=80.0)
    for each in world:
        record(each, rng, white, seen=seen)
    assert screened(world) == ["held", "held"]
    assert CheckResult.objects.filter(name="copied traces", level="hold").count() == 2


def test_the_case_shows_what_traces_say_against_a_set_and_for_it(world, moderator, client):
    """Both of its sets: one whose pulls share a trace, and one that the moderator asks about."""
    rng = np.random.default_rng(8)
    copied, own = world
    record(copied, rng, white, seen=pull(rng, white, peak=80.0))
    record(own, rng, white)
    screened(world)
    decide(by=moderator.user, pull_set=own, decision="hold", reason="Which scale?")
    client.force_login(moderator.user, backend="django.contrib.auth.backends.ModelBackend")
    for each, said in ((copied, "copied traces"), (own, "Recorded:</strong> 8 of its 8 readings")):
        case = ReviewCase.objects.get(pull_set=each)
        page = client.get(f"/admin/results/reviewcase/{case.pk}/change/").content.decode()
        assert said in page


def test_some_pulls_recorded_excuse_nothing(world):
    rng = np.random.default_rng(7)
    for each in world:
        record(each, rng, white, pulls=7)
    assert "held" in screened(world)


def test_a_session_without_traces_is_judged_as_if_there_were_none_anywhere(world, monkeypatch):
    """The guard: with all that knows of traces taken away, every outcome is the same."""
    screened(world)
    session = world[0].session
    now = run_checks(evidence_of(session))
    holding = screen._holding(evidence_of(session), now)
    assert not {one.check.name for one in now} & {
        "copied traces",
        "traces without noise",
        "traces of its own",
    }
    monkeypatch.setattr(recordings, "checks", lambda *_: iter(()))
    monkeypatch.setattr(screen, "OF_INVENTED", frozenset())
    before = run_checks(evidence_of(session))
    assert now == before
    assert holding == screen._holding(evidence_of(session), before)
