"""One pull set: what was read, what it came to, and how it stands."""

import numpy as np
import pytest
from django.test import Client

from results.jobs.queue import enqueue
from results.models import Pull, PullSet
from results.review.decisions import decide
from results.worker.embedded import drain
from tests import making
from tests.api.leagues import send
from tests.people import client_of

pytestmark = pytest.mark.usefixtures("planted_past")


def test_each_pull_is_shown_as_written_with_the_load_that_calibration_makes_of_it(db, owner, read):
    """A scale that reads 2 N high: written 22.0 lbf, 97.86 N, is a load of 95.86 N, 21.55 lbf."""
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=2.0)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [90, 91, 92])
    newton_of_a_pound_force = 4.4482216152605  # 0.45359237 kg at 9.80665 m/s2
    Pull.objects.filter(pull_set=pull_set, number=1).update(
        reading_written="22.0", unit="lbf", reading_N=22.0 * newton_of_a_pound_force
    )
    Pull.objects.create(
        pull_set=pull_set, number=4, unit="N", failure_mode="void", note="grip slipped"
    )
    enqueue(session)
    drain()
    text = read(f"/pull-sets/{pull_set.pk}/").text
    assert "22.0 lbf at the join 95.9 N (21.55 lbf)" in text
    assert "91 N at the join 89.0 N" in text
    assert "lost void" in text
    assert "grip slipped" not in text
    assert "lost void grip slipped" in read(f"/pull-sets/{pull_set.pk}/", by=owner).text


def test_it_shows_its_straight_line_its_notes_and_what_was_thrown_away(db, owner, read):
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [90, 91, 92])
    PullSet.objects.filter(pk=pull_set.pk).update(
        discarded_ties=3, note="cold hands", parameters={"turns_main": 6}
    )
    enqueue(session)
    drain()
    text = read(f"/pull-sets/{pull_set.pk}/").text
    assert "thin, straight, before" in text
    assert "Discarded before pulling 3" in text
    assert "cold hands" not in text
    assert "cold hands" in read(f"/pull-sets/{pull_set.pk}/", by=owner).text
    assert "Turns main 6" in text
    assert "not calibrated by that day" in text


def test_a_set_without_a_baseline_says_why_it_has_no_efficiency(db, owner, read):
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [90, 91, 92])
    enqueue(session)
    drain()
    text = read(f"/pull-sets/{pull_set.pk}/").text
    assert "No efficiency: no straight-line pulls of thin" in text


def test_every_change_of_its_state_is_reported_with_who_by_role_and_why(db, owner, moderator, read):
    pull_set = send(owner, np.random.default_rng(2), "Blood", 80.0)
    drain()
    pull_set.refresh_from_db()
    decide(by=moderator.user, pull_set=pull_set, decision="hold", reason="Which scale?")
    text = read(f"/pull-sets/{pull_set.pk}/").text
    states = text[text.index("Status") :]
    assert "the service worked out from its pulls" in states
    assert "a moderator" in states
    assert "Which scale?" not in states
    assert "a moderator Which scale?" in read(f"/pull-sets/{pull_set.pk}/", by=owner).text
    assert "State Held" in text


def test_it_takes_few_queries(db, owner, django_assert_max_num_queries):
    pull_set = send(owner, np.random.default_rng(2), "Blood", 80.0)
    drain()
    with django_assert_max_num_queries(15):
        assert Client().get(f"/pull-sets/{pull_set.pk}/").status_code == 200


def test_figures_from_before_a_change_of_the_rig_say_so_until_they_are_worked_out(db, owner, read):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    pull_set = making.joined(
        session, making.line("thin"), making.line("thick", label_N=180), [80, 82, 81]
    )
    enqueue(session)
    drain()
    assert "Being recomputed" not in read(f"/pull-sets/{pull_set.pk}/").text
    post = client_of(owner).post
    points = [
        {"mass": f"{m} kg", "how_known": "certified", "reading": f"{m} kgf"} for m in (5, 10, 20)
    ]
    answer = {"made_on": "2026-01-01", "points": points}
    address = f"/api/v1/revisions/{session.revision_id}/calibrations"
    assert post(address, answer, format="json").status_code == 201
    assert "Being recomputed" in read(f"/pull-sets/{pull_set.pk}/").text
    drain()
    assert "Being recomputed" not in read(f"/pull-sets/{pull_set.pk}/").text


def test_a_set_that_does_not_exist_is_not_found(db, read):
    assert "There is nothing at this address" in read("/pull-sets/404/", status=404).text


def test_the_worst_of_ten_is_named_only_where_ten_were_pulled(db, owner, read):
    """Story 11."""
    revision = making.revision_of(owner)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    nine = making.joined(session, main, leader, range(71, 80))
    ten = making.joined(session, main, leader, range(71, 81))
    enqueue(session)
    drain()
    assert "Worst pull of" not in read(f"/pull-sets/{nine.pk}/").text
    text = read(f"/pull-sets/{ten.pk}/").text
    assert "Worst pull of 10 pulls: 71.0 N, 71.0% of the straight line" in text
    assert "Nine in ten ties hold at least" in text
