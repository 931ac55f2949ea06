"""Nobody gets another tester's sets held: the thief and the victim, the vandal and the honest."""

import json
from datetime import date

import numpy as np
import pytest

from deploy.demo import inside
from deploy.demo.scenario import SCENARIO
from deploy.demo.simulate import draw_tester, draw_world
from results.intake.receiving import receive
from results.models import CheckResult, SeriesShape, Session
from results.normalising.reprocess import calibrate_and_reprocess
from results.review.decisions import decide
from results.screening.screen import screen_session
from results.screening.shapes import sweep_shapes
from results.worker.embedded import drain
from rigs.models import CalibrationReading, RigRevision
from tests import making
from tests.people import contributor

LINE_N = (198.3, 203.6, 200.1, 205.4, 196.2, 199.8, 201.7, 197.5)
OWN_LINE_N = (201.1, 196.9, 204.2, 199.3, 202.8, 195.4, 198.6, 207.7)
OWN_N = (139.1, 150.2, 142.6, 136.4, 147.7, 144.9, 152.8, 140.3)
JOINED_N = (146.3, 139.8, 151.4, 144.7, 148.9, 141.2, 149.6, 143.1)


def send(person, joined=JOINED_N, straight=LINE_N, **amending) -> Session:
    """A session with eight pulls of one join, on straight line near 200 N."""
    document = {
        "rig": "shed winch",
        "revision": 1,
        "pulled_on": "2026-01-10",
        "state": "dry",
        "unit": "N",
        "baselines": [{"line": "thin", "pulls": _pulls(straight, "line")}],
        "pull_sets": [
            {
                "label": "one",
                "connection": "Blood",
                "main": {"line": "thin"},
                "leader": {"line": "thick"},
                "pulls": _pulls(joined, "join"),
            }
        ],
    }
    body = json.dumps(document).encode()
    session = receive(person, body, "application/json", None, **amending).session
    drain()
    return session


def _pulls(readings, mode):
    return [{"reading": reading, "failure_mode": mode} for reading in readings]


def states_of(session: Session) -> set[str]:
    return set(session.pull_sets.values_list("state", flat=True))


@pytest.fixture
def victim(db):
    return _tester("victim")


@pytest.fixture
def thief(db):
    return _tester("thief")


def _tester(name):
    making.connection("Blood")
    making.line("thin", label_N=150)
    making.line("thick", label_N=400)
    person = contributor(name)
    making.calibrate(making.revision_of(person, resolution_N=0.1), gain=1.0, offset_N=0.0)
    return person


def _calibrated_again(person) -> None:
    """Another calibration of the same day, and with it every session looked at again."""
    readings = [
        CalibrationReading(
            mass_kg=mass,
            mass_written=f"{mass} kg",
            u_mass_kg=0.01,
            how_known="weighed",
            reading_N=9.81 * mass,
            reading_written=f"{9.81 * mass:.1f} N",
        )
        for mass in (2.0, 5.0, 10.0, 20.0)
    ]
    revision = RigRevision.objects.get(rig__owner=person)
    calibrate_and_reprocess(person.user, revision, date(2026, 1, 5), readings)
    drain()


@pytest.mark.parametrize("decision", ["reject", None])
def test_a_copy_never_gets_the_set_held_that_it_was_copied_from(victim, thief, moderator, decision):
    first = send(victim)
    copied = send(thief)
    assert states_of(copied) == {"held"}
    if decision:
        held = copied.pull_sets.get()
        decide(by=moderator.user, pull_set=held, decision=decision, reason="It is another's.")
        drain()
    _calibrated_again(victim)
    assert states_of(first) == {"pooled"}


def test_a_victim_who_corrects_one_reading_after_being_copied_is_not_the_copy(victim, thief):
    first = send(victim)
    send(thief)
    corrected = send(victim, (*JOINED_N[:-1], 134.1), replaces=first, reason="134.1, not 143.1")
    assert states_of(corrected) == {"pooled"}


def test_nobody_comes_first_by_correcting_an_older_session_to_what_another_found(victim, thief):
    older = send(thief, OWN_N, OWN_LINE_N)
    first = send(victim)
    copied = send(thief, replaces=older, reason="other readings")
    _calibrated_again(victim)
    assert states_of(first) == {"pooled"}
    assert states_of(copied) == {"held"}


@pytest.fixture
def league(db) -> np.random.Generator:
    """Three honest testers of one line pair; the random state after them."""
    rng = np.random.default_rng(20260110)
    inside.lay_catalogue()
    for submission in draw_world(rng, targets=["shock-leader"])[:3]:
        inside.send(inside.settle(submission), submission["sessions"][0])
    return rng


@pytest.mark.slow
def test_a_vandal_with_random_sets_gets_no_honest_session_held(league):
    """As the fourth tester of every pool, held or not; ten newcomers on fine scales after that."""
    ordinary = next(t for t in SCENARIO["testers"] if t["handle"] == "pikeperch")
    vandal = draw_tester(league, ordinary | {"handle": "vandal"}, ["shock-leader"])
    spoilt = vandal["sessions"][0]
    for part in spoilt["pull_sets"]:
        for pull in part["pulls"]:
            pull["reading"] = round(pull["reading"] * float(league.uniform(0.2, 1.0)), 1)
    inside.send(inside.settle(vandal), spoilt)
    for number in range(10):
        steady = ordinary | {"handle": f"newcomer {number}", "cv_join_factor": 0.8}
        honest = draw_tester(league, steady, ["shock-leader"])
        session = inside.send(inside.settle(honest), honest["sessions"][0])
        held = CheckResult.objects.filter(screening__session=session, level="hold")
        assert not held.exists(), list(held.values_list("name", "sentence"))


def _newcomer(rng, **differing):
    """The first session of an ordinary tester, and its steps."""
    ordinary = next(t for t in SCENARIO["testers"] if t["handle"] == "pikeperch")
    described = ordinary | {"handle": "newcomer", "tying_log": 0.0} | differing
    submission = draw_tester(rng, described, ["shock-leader"])
    return submission, submission["sessions"][0]


def _readings(document, kinds=("baselines", "pull_sets")):
    return [pull for kind in kinds for part in document[kind] for pull in part["pulls"]]


def _sent(submission, document):
    session = inside.send(inside.settle(submission), document)
    found = CheckResult.objects.filter(screening__session=session)
    return session, found.filter(level="hold"), found.filter(level="mark")


@pytest.mark.parametrize("step", [1.0, 0.5, 0.2])
def test_readings_rounded_on_a_scale_of_tenths_are_never_held(league, step):
    submission, document = _newcomer(league)
    for pull in _readings(document):
        pull["reading"] = round(step * round(pull["reading"] / step), 1)
    _, holds, marks = _sent(submission, document)
    assert not holds.exists()
    assert "rounded readings" in set(marks.values_list("name", flat=True))


def test_a_spool_that_is_a_third_weak_is_marked_and_counts(league):
    submission, document = _newcomer(league)
    for pull in _readings(document):
        pull["reading"] = round(0.65 * pull["reading"], 1)
    _, holds, marks = _sent(submission, document)
    assert not holds.exists()
    assert "straight line against other testers" in set(marks.values_list("name", flat=True))


def test_kilograms_in_one_set_are_held_and_the_note_names_the_unit(league):
    submission, document = _newcomer(league)
    for pull in document["pull_sets"][1]["pulls"]:
        pull["reading"] = round(0.45359237 * pull["reading"], 1)
    session, holds, _ = _sent(submission, document)
    [wrong] = session.pull_sets.filter(state="held")
    assert wrong.label == document["pull_sets"][1]["label"]
    assert "its unit is kgf" in holds.get(name="units of joined and straight pulls").sentence


@pytest.mark.parametrize("wrong", ["one set", "straight line", "everything", "straight, by API"])
def test_one_click_corrects_the_unit_that_was_meant(league, client, wrong):
    submission, document = _newcomer(league)
    slipped = {
        "one set": document["pull_sets"][1]["pulls"],
        "everything": _readings(document),
    }.get(wrong, _readings(document, ("baselines",)))
    for pull in slipped:
        pull["reading"] = round(0.45359237 * pull["reading"], 2)
    session, holds, _ = _sent(submission, document)
    assert "held" in states_of(session)
    assert "kgf" in set(holds.values_list("meant_unit", flat=True))
    client.force_login(session.contributor.user)
    page = client.get(f"/sessions/{session.pk}/").content.decode()
    assert "Yes, it was kgf: correct it" in page
    if "API" in wrong:
        answer = client.post(
            f"/api/v1/sessions/{session.pk}/unit-repair", headers={"X-CSRFToken": ""}
        )
        assert answer.status_code == 202
    else:
        client.post(f"/sessions/{session.pk}/unit/")
    drain()
    second = Session.objects.get(replaces=session)
    assert "held" not in states_of(second)
    assert second.pull_sets.count() == session.pull_sets.count()
    in_kilograms = second.pull_sets.filter(pulls__unit="kgf").distinct().count()
    every = session.pull_sets.count()
    assert in_kilograms == {"one set": 1, "everything": every}.get(wrong, 0)
    assert "correct it" not in client.get(f"/sessions/{second.pk}/").content.decode()
    client.post(f"/sessions/{session.pk}/unit/")
    assert Session.objects.filter(replaces=second).count() == 0


def test_an_honest_session_of_two_hundred_pulls_is_not_held(league):
    submission, document = _newcomer(league, pulls=40)
    assert len(_readings(document)) >= 200
    _, holds, _ = _sent(submission, document)
    assert not holds.exists()


@pytest.mark.parametrize("change", ["scaled", "shuffled", "jittered", "in another unit"])
def test_a_changed_copy_of_a_session_is_held_and_the_first_one_is_not(league, change):
    submission, document = _newcomer(league)
    first, holds, _ = _sent(submission, document)
    assert not holds.exists()
    for part in [*document["baselines"], *document["pull_sets"]]:
        if change == "shuffled":
            league.shuffle(part["pulls"])
        for pull in part["pulls"]:
            pull["reading"] = {
                "scaled": round(1.05 * pull["reading"], 1),
                "shuffled": pull["reading"],
                "jittered": round(pull["reading"] + 0.1 * league.integers(-2, 3), 1),
                "in another unit": round(0.45359237 * pull["reading"], 2),
            }[change]
    if change == "in another unit":
        document["unit"] = "kgf"
    thief, _ = _newcomer(league)
    thief["handle"] = "thief"
    copied, holds, _ = _sent(thief, document)
    names = set(holds.values_list("name", flat=True))
    assert any("alike but for scale" in name for name in names), names
    assert states_of(copied) == {"held"}
    screen_session(first.pk, still_ours=lambda: True, follow=lambda: None)
    assert "held" not in states_of(first)


def test_sessions_from_before_there_were_shapes_get_theirs_and_are_found(league):
    submission, document = _newcomer(league)
    _sent(submission, document)
    SeriesShape.objects.all().delete()
    while sweep_shapes():
        pass
    assert SeriesShape.objects.filter(pulls__gte=5).exists()
    thief, _ = _newcomer(league)
    thief["handle"] = "thief"
    for pull in _readings(document):
        pull["reading"] = round(1.05 * pull["reading"], 1)
    _, holds, _ = _sent(thief, document)
    assert any("alike but for" in name for name in holds.values_list("name", flat=True))


def test_one_click_gives_the_step_that_readings_are_rounded_to_as_the_resolution(league, client):
    submission, document = _newcomer(league)
    for pull in _readings(document):
        pull["reading"] = float(round(pull["reading"]))
    session, _, _ = _sent(submission, document)
    client.force_login(session.contributor.user)
    page = client.get(f"/sessions/{session.pk}/").content.decode()
    assert "Give 1 lbf as the resolution" in page
    client.post(f"/sessions/{session.pk}/resolution/")
    revision = RigRevision.objects.get(pk=session.revision_id)
    assert revision.resolution_written == "1 lbf"
    assert revision.resolution_N == pytest.approx(4.4482216152605)
    drain()
    assert "as the resolution" not in client.get(f"/sessions/{session.pk}/").content.decode()
    assert "held" not in states_of(session)
    client.post(f"/sessions/{session.pk}/resolution/")
    assert RigRevision.objects.get(pk=revision.pk).version == revision.version
