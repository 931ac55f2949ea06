"""What a moderator released is not held again for the same cause, whatever is worked out again."""

import json
from datetime import date

import pytest

from results.intake.amend import withdraw
from results.intake.receiving import receive
from results.jobs import queue
from results.models import Notice, PullSet, Session
from results.normalising.reprocess import (
    calibrate_and_reprocess,
    correct_calibration_and_reprocess,
    correct_revision_and_reprocess,
)
from results.review.decisions import decide
from results.review.selectors import holds_of
from results.worker.embedded import drain
from rigs.models import CalibrationReading
from tests import making
from tests.pages.test_rig_pages import browser
from tests.people import contributor
from tests.stories.test_review import HONEST_N, TOO_GOOD_N
from tests.stories.test_review import send as send_honest

LINE_N = (98.0, 101.0, 99.0, 102.0, 100.0)


def document(strong=TOO_GOOD_N, other=HONEST_N, straight=LINE_N, **session) -> dict:
    """A session of two sets of one join: one stronger than its line, and an honest one."""
    return {
        "rig": "shed winch",
        "revision": 1,
        "pulled_on": "2026-01-10",
        "state": "dry",
        "unit": "N",
        "baselines": [{"line": "thin", "pulls": _pulls(straight, "line")}],
        "pull_sets": [
            {
                "label": label,
                "connection": connection,
                "main": {"line": "thin"},
                "leader": {"line": "thick"},
                "pulls": _pulls(readings, "join"),
            }
            for label, connection, readings in (
                ("strong", "Blood", strong),
                ("usual", "Albright", other),
            )
        ],
        **session,
    }


def _pulls(readings, mode: str) -> list[dict]:
    return [{"reading": reading, "failure_mode": mode} for reading in readings]


def upload(person, body: dict, **amending) -> Session:
    session = receive(person, json.dumps(body).encode(), "application/json", None, **amending)
    drain()
    return session.session


def of(session: Session, label: str = "strong") -> PullSet:
    return session.pull_sets.get(label=label)


@pytest.fixture
def released(db, owner, moderator) -> PullSet:
    making.connection("Blood")
    making.connection("Albright")
    making.line("thin")
    making.line("thick", label_N=180)
    for number, by_N in enumerate((-2.0, 0.0, 2.5)):
        send_honest(contributor(f"tester {number}"), [load + by_N for load in HONEST_N])
    making.calibrate(making.revision_of(owner), gain=1.0, offset_N=0.0)
    pull_set = of(upload(owner, document()))
    assert pull_set.state == "held"
    decide(by=moderator.user, pull_set=pull_set, decision="release", reason="A hollow splice.")
    drain()
    return pull_set


def readings_of(gain: float) -> list[CalibrationReading]:
    return [
        CalibrationReading(
            number=number,
            mass_kg=mass,
            mass_written=f"{mass:g} kg",
            how_known=CalibrationReading.HowKnown.CERTIFIED,
            force_N=9.81 * mass,
            reading_N=9.81 * mass * gain,
            reading_written=f"{9.81 * mass * gain:.1f} N",
        )
        for number, mass in enumerate((2.0, 5.0, 10.0, 15.0, 18.0), start=1)
    ]


def test_it_stays_released_when_the_rig_is_calibrated_again_or_its_calibration_corrected(
    released, owner
):
    revision = released.session.revision
    calibration = calibrate_and_reprocess(owner.user, revision, date(2026, 1, 9), readings_of(1.02))
    drain()
    correct_calibration_and_reprocess(
        owner.user, calibration, date(2026, 1, 9), readings_of(0.97), "Another weight."
    )
    drain()
    released.refresh_from_db()
    assert released.state == "released"


def test_it_stays_released_when_it_is_computed_again_or_the_resolution_is_corrected(
    released, owner
):
    queue.enqueue(released.session)
    drain()
    correct_revision_and_reprocess(
        owner.user,
        released.session.revision,
        {"resolution_N": 1.0, "resolution_written": "1 N"},
        "It is read to whole newtons.",
    )
    drain()
    released.refresh_from_db()
    assert released.state == "released"


def test_a_version_of_its_session_in_which_another_set_differs_keeps_the_release(released, owner):
    mended = document(other=[reading + 0.5 for reading in HONEST_N])
    second = upload(owner, mended, replaces=released.session, reason="The other set was misread.")
    assert of(second).state == "pooled"
    assert of(second).checks.filter(level="hold").exists()
    assert not Notice.objects.filter(pull_set=of(second)).exists()
    third = upload(owner, document(note="Rain."), replaces=second, reason="It rained.")
    assert of(third).state == "pooled"


def test_the_same_day_sent_again_after_it_was_withdrawn_keeps_the_release(released, owner):
    withdraw(released.session, owner, "Sent to the wrong rig.")
    assert of(upload(owner, document(note="Once more."))).state == "pooled"


def test_other_readings_of_the_set_or_of_its_straight_line_are_another_cause(released, owner):
    stronger = document(strong=[reading + 1.5 for reading in TOO_GOOD_N])
    second = upload(owner, stronger, replaces=released.session, reason="Misread.")
    assert of(second).state == "held"
    weaker = document(straight=[reading - 1.0 for reading in LINE_N])
    assert of(upload(owner, weaker, replaces=second, reason="Misread.")).state == "held"


def test_what_was_rejected_after_its_release_is_held_again_in_another_version(
    released, owner, moderator
):
    decide(by=moderator.user, pull_set=released, decision="reject", reason="Another spool.")
    second = upload(owner, document(note="Rain."), replaces=released.session, reason="It rained.")
    assert of(second).state == "held"


def test_the_release_of_one_tester_frees_no_other(released, other):
    making.calibrate(making.revision_of(other), gain=1.0, offset_N=0.0)
    assert of(upload(other, document())).state == "held"


def test_a_held_set_names_the_honest_reasons_and_what_settles_it_everywhere(
    released, other, as_other, as_stranger, settings, mailoutbox, django_capture_on_commit_callbacks
):
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    other.user.email = "other@example.org"
    other.user.save()
    making.calibrate(making.revision_of(other), gain=1.0, offset_N=0.0)
    with django_capture_on_commit_callbacks(execute=True):
        body = document([131.5, 126.0, 135.0, 129.5, 130.5], [81.0, 77.5, 83.0, 80.5, 85.0])
        held = of(upload(other, body))
    wanted = "Five more pulls of straight line off the same spool"
    assert wanted in held.notices.get().text
    (mail,) = mailoutbox
    assert wanted in mail.body
    assert held.label not in mail.body.replace("stronger", "")
    of_api = as_other.get(f"/api/v1/pull-sets/{held.pk}/checks").json()
    named = {check["name"]: check for check in of_api}
    assert wanted in named["plausible efficiency"]["settled_by"]
    assert named["order trend"]["settled_by"] is None
    for address in ("/bench/", f"/pull-sets/{held.pk}/"):
        page = browser(other).get(address).content.decode()
        assert "What settles it:" in page
        assert wanted in page
    assert "What settles it:" not in as_stranger.get(f"/pull-sets/{held.pk}/").content.decode()
    assert holds_of(held).exists()
