"""Screening a league: the mistyped cell, the four suspects, and the tyer who is only weak."""

import json
from pathlib import Path

import numpy as np
import pytest

from deploy.demo import inside
from deploy.demo.faults import FAULTS
from deploy.demo.scenario import SCENARIO
from deploy.demo.simulate import draw_tester, draw_world
from deploy.demo.suspects import draw_suspects
from results.intake.receiving import receive
from results.models import CheckResult, PullSet, Session
from results.review.decisions import answer, ask, decide
from results.review.selectors import check_results_of
from results.worker.embedded import drain
from tests import making
from tests.people import contributor

GLUCOSE = Path(__file__).parents[1] / "data/statistics/interlaboratory-glucose-five-materials.json"
INFLUENCE = "influence on the pool"
LINE_N = (198.0, 203.0, 200.0, 205.0, 196.0, 199.0)


def marks_of(pull_set) -> set[str]:
    return set(check_results_of(pull_set).exclude(level="none").values_list("name", flat=True))


def held_for(sessions) -> set[str]:
    holds = CheckResult.objects.filter(screening__session__in=sessions, level="hold")
    return set(holds.values_list("name", flat=True))


def states_of(session: Session) -> set[str]:
    return set(session.pull_sets.values_list("state", flat=True))


def document(readings) -> dict:
    """A session with three pulls of one join, on straight line near 200 N."""
    pulls = [{"reading": reading, "failure_mode": "join"} for reading in readings]
    straight = [{"reading": reading, "failure_mode": "line"} for reading in LINE_N]
    return {
        "rig": "shed winch",
        "revision": 1,
        "pulled_on": "2026-01-10",
        "state": "dry",
        "unit": "N",
        "baselines": [{"line": "thin", "pulls": straight}],
        "pull_sets": [
            {
                "label": "material C",
                "connection": "Blood",
                "main": {"line": "thin"},
                "leader": {"line": "thick"},
                "pulls": pulls,
            }
        ],
    }


def send(person, readings, **amending) -> Session:
    body = json.dumps(document(readings)).encode()
    session = receive(person, body, "application/json", None, **amending).session
    drain()
    return session


def test_a_mistyped_reading_is_flagged_asked_about_and_amended_and_both_versions_are_kept(
    db, moderator
):
    """ASTM E691, glucose in serum, material C: 148.30 of laboratory 4 stands for 138.30."""
    cells = json.loads(GLUCOSE.read_text())["data"]["C"]
    making.connection("Blood")
    making.line("thin", label_N=150)
    making.line("thick", label_N=400)
    people = {name: contributor(name) for name in cells}
    for person in people.values():
        making.calibrate(making.revision_of(person, resolution_N=0.01), gain=1.0, offset_N=0.0)
    fourth = people["laboratory_4"]
    for name, person in people.items():
        if person is not fourth:
            send(person, cells[name])

    first = send(fourth, cells["laboratory_4"])
    flagged = first.pull_sets.get()
    assert flagged.state == "pooled"
    assert "more scatter than the pool" in marks_of(flagged)
    shown = check_results_of(flagged).get(name="more scatter than the pool").sentence
    assert "one mistyped reading" in shown

    ask(by=moderator.user, pull_set=flagged, text="Is 148.30 right? It stands apart.")
    answer(by=fourth.user, pull_set=flagged, text="No: the notebook says 138.30.")
    corrected = [138.30 if reading == 148.30 else reading for reading in cells["laboratory_4"]]
    second = send(fourth, corrected, replaces=first, reason="148.30 was 138.30 in the notebook")

    amended = second.pull_sets.get()
    assert amended.state == "pooled"
    assert "more scatter than the pool" not in marks_of(amended)
    flagged.refresh_from_db()
    assert flagged.state == "withdrawn"
    assert [pull.reading_written for pull in flagged.pulls.order_by("pk")][1] == "148.3"
    assert "more scatter than the pool" in marks_of(flagged)
    assert flagged.messages.count() == 2


def test_what_came_before_anybody_could_tell_is_looked_at_again_once_they_can(db):
    """Pounds-force written as newtons under a join that nobody else had pulled yet."""
    making.connection("Blood")
    making.line("thin", label_N=150)
    making.line("thick", label_N=400)
    people = [contributor(f"tester {number}") for number in range(4)]
    for person in people:
        making.calibrate(making.revision_of(person, resolution_N=0.01), gain=1.0, offset_N=0.0)
    first = send(people[0], [33.1, 31.9, 34.2])
    assert states_of(first) == {"pooled"}
    for person, shift in zip(people[1:], (0.0, 3.1, -2.2), strict=True):
        send(person, [146.3 + shift, 139.8 + shift, 151.4 + shift])
    assert states_of(first) == {"held"}
    assert "units of joined and straight pulls" in marks_of(first.pull_sets.get())
    assert first.pull_sets.get().normalised.pool.current.testers == 3


@pytest.fixture
def league(db) -> np.random.Generator:
    """First sessions of the scenario's dry testers on one line pair; the random state after it."""
    rng = np.random.default_rng(20260110)
    inside.lay_catalogue()
    for submission in draw_world(rng, targets=["shock-leader"]):
        if submission["sessions"][0]["state"] == "dry":
            inside.send(inside.settle(submission), submission["sessions"][0])
    return rng


def test_no_one_of_an_honest_league_is_held_and_the_weak_tyer_waits_for_a_second_look_at_most(
    league,
):
    assert held_for(Session.objects.all()) <= {INFLUENCE}
    waiting = PullSet.objects.filter(state="held")
    assert set(waiting.values_list("session__contributor__handle", flat=True)) <= {
        "oxbow",
        "reedmace",
    }

    rng = np.random.default_rng(4)
    reedmace = next(t for t in SCENARIO["testers"] if t["handle"] == "reedmace")
    weaker = draw_tester(rng, reedmace | {"handle": "weaker", "tying_log": -0.5}, ["shock-leader"])
    session = inside.send(inside.settle(weaker), weaker["sessions"][0])
    assert held_for(Session.objects.filter(pk=session.pk)) <= {INFLUENCE}
    assert "below the pool" in marks_of(session.pull_sets.first())
    assert (
        "no fault of the record"
        in check_results_of(session.pull_sets.first()).get(name="below the pool").sentence
    )


def test_three_suspects_are_held_and_the_old_hand_counts(league, moderator):
    suspects = draw_suspects(league)
    wrong = {"tidycopy": 0, "pounds": 1, "shortbase": 0}
    for handle, number in wrong.items():
        submission = suspects[handle]
        session = inside.send(inside.settle(submission), submission["sessions"][number])
        assert states_of(session) == {"held"}, handle
    old = suspects["oldhand"]
    session = inside.send(inside.settle(old), old["sessions"][0])
    for pull_set in session.pull_sets.filter(state="held"):
        decide(
            by=moderator.user, pull_set=pull_set, decision="release", reason="The film shows it."
        )
    assert states_of(session) <= {"normalised", "released"}


def test_each_suspect_is_held_for_what_is_wrong_with_it(league):
    suspects = draw_suspects(league)
    expected = {
        "tidycopy": {"less scatter than any hand", "sets that agree pull by pull"},
        "pounds": {"straight line against its label"},  # nobody else pulled these lines
        "shortbase": {"plausible efficiency", "weak straight line under strong joins"},
    }
    for handle, names in expected.items():
        submission = suspects[handle]
        number = 1 if handle == "pounds" else 0
        session = inside.send(inside.settle(submission), submission["sessions"][number])
        holds = CheckResult.objects.filter(screening__session=session, level="hold")
        assert names <= set(holds.values_list("name", flat=True)), handle


@pytest.mark.parametrize("kind", ["invented", "units", "baseline"])
def test_a_fault_planted_in_an_honest_session_is_held(league, kind):
    honest = next(t for t in SCENARIO["testers"] if t["handle"] == "pikeperch")
    submission = draw_tester(league, honest | {"handle": "newcomer"}, ["shock-leader"])
    step = submission["rig"]["resolution"]
    spoilt = FAULTS[kind](np.random.default_rng(2), submission["sessions"][0], step)
    session = inside.send(inside.settle(submission), spoilt)
    assert "held" in states_of(session)
