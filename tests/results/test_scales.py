"""From reading to load: which calibration is in force on a day, and what is said where none is."""

from datetime import date

import pytest

from results.models import Session
from results.normalising.normalise import normalise_session
from results.normalising.scales import scale_on
from tests import making

DAY = date(2026, 1, 10)


@pytest.fixture
def revision(owner):
    return making.revision_of(owner)


def worked_out(revision):
    """Figures of a set pulled on the day."""
    session = making.session(revision, pulled_on=DAY)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [78, 82, 80, 81, 79])
    normalise_session(session.pk, still_ours=lambda: True)
    return pull_set.normalised


def test_the_newest_calibration_up_to_the_day_is_in_force(revision):
    making.calibrate(revision, gain=1.0, offset_N=0, made_on=date(2025, 10, 1))
    newest = making.calibrate(revision, gain=1.1, offset_N=0, made_on=date(2026, 1, 9))
    making.calibrate(revision, gain=1.2, offset_N=0, made_on=date(2026, 1, 11))
    scale = scale_on(revision, DAY)
    assert (scale.calibration, scale.note) == (newest, "")


def test_a_calibration_of_after_the_session_is_not_used_and_this_is_reported(revision):
    making.calibrate(revision, gain=1.2, offset_N=5, made_on=date(2026, 1, 11))
    figures = worked_out(revision)
    assert figures.calibration is None
    assert figures.mean_N == pytest.approx(80.0)
    assert (
        "the calibration of 2026-01-11 came after the session and is not used" in figures.notes[0]
    )


def test_a_calibration_of_more_than_26_months_is_not_used_and_this_is_reported(revision):
    making.calibrate(revision, gain=1.2, offset_N=5, made_on=date(2023, 11, 9))
    figures = worked_out(revision)
    assert figures.calibration is None
    assert "had expired by that day" in figures.notes[0]
    making.calibrate(revision, gain=1.2, offset_N=5, made_on=date(2023, 11, 12))
    assert scale_on(revision, DAY).calibration is not None


def test_a_calibration_of_more_than_a_year_is_used_and_its_age_is_reported(revision):
    making.calibrate(revision, gain=1.0, offset_N=0, made_on=date(2025, 1, 9))
    figures = worked_out(revision)
    assert figures.calibration is not None
    assert "2025-01-09, more than a year before" in figures.notes[0]


def test_a_rig_never_calibrated_is_less_certain_of_its_zero_than_a_calibrated_one(revision, other):
    calibrated = making.revision_of(other)
    making.calibrate(calibrated, gain=1.0, offset_N=0)
    never, once = worked_out(revision), worked_out(calibrated)
    assert never.u_offset_log > 2 * once.u_offset_log
    assert "was not calibrated by that day" in never.notes[0]


def test_the_zero_of_an_uncalibrated_scale_lies_within_a_hundredth_of_its_capacity(revision):
    """Rectangular within 1 percent of 500 N: 5/sqrt(3) = 2.887 N (GUM 4.3.7; common practice)."""
    revision.capacity_N = 500.0
    assert scale_on(revision, DAY).u_offset_N(100.0) == pytest.approx(2.8868, abs=1e-4)


def test_a_calibration_entered_late_works_out_again_what_rests_on_it(as_owner, owner, drain):
    revision = making.revision_of(owner)
    before, after = (
        making.session(revision, pulled_on=day) for day in (date(2026, 1, 5), date(2026, 1, 15))
    )
    for session in (before, after):
        main, leader = making.line("thin"), making.line("thick", label_N=180)
        making.straight(session, main)
        making.joined(session, main, leader, [78, 82, 80, 81, 79])
        normalise_session(session.pk, still_ours=lambda: True)
    points = [
        {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass * 9.80518 + 6:.3f} N"}
        for mass in (0, 5, 10, 20)
    ]
    answer = as_owner.post(
        f"/api/v1/revisions/{revision.pk}/calibrations",
        {"made_on": "2026-01-10", "points": points},
        format="json",
    )
    assert answer.status_code == 201, answer.json()
    drain()
    kept, anew = (Session.objects.get(pk=s.pk).pull_sets.get().normalised for s in (before, after))
    assert kept.calibration is None
    assert anew.calibration.offset_N == pytest.approx(6.0, abs=0.01)
    assert anew.mean_N == pytest.approx(74.0, abs=0.05)
