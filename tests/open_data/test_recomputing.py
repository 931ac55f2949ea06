"""Story 22: a pooled figure, now or of long ago, computed again from the pulls to the digit."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from results import amending, draining, reworking
from results.models import Pool, PoolVersion, Pull, PullSet
from tests import making
from tests.api.leagues import league_of


@pytest.fixture
def league(db):
    return league_of({"Blood": 85.0}, testers=4)


def pool() -> Pool:
    return Pool.objects.select_related("current").get(connection__name="Blood")


def recomputed(snapshot: str) -> str:
    told = StringIO()
    call_command("recompute", snapshot=snapshot, stdout=told)
    return told.getvalue()


def test_a_pooled_figure_comes_out_of_the_pulls_again_to_the_digit(league):
    now = pool().current
    assert f"equal, {now.efficiency!r}" in recomputed(now.snapshot)


def test_breaks_at_the_grip_voids_and_a_borrowed_baseline_come_out_again(league):
    """All that makes an efficiency more than a ratio of means."""
    lender = league[0].session
    thin, thick = league[0].main_line, league[0].leader_line
    borrower = making.session(lender.revision)
    loads_N = [86.0, 84.0, 88.0, 83.0, 87.0, 90.0]
    modes = ["join", "join", "slip", "line", "grip", "void"]
    borrowing = making.joined(borrower, thin, thick, loads_N, modes)
    reworking.work_out_again(type(borrower).objects.filter(pk=borrower.pk))
    draining.drain()

    now = pool().current
    borrowing.refresh_from_db()
    assert borrowing.normalised.baseline.session_id == lender.pk
    assert now.sets == 5
    assert "equal" in recomputed(now.snapshot)


def test_a_version_of_long_ago_comes_out_as_it_was_after_a_withdrawal_and_a_calibration(league):
    before = pool().current
    left, recalibrated = league[0].session, league[1].session
    amending.withdraw(left, left.contributor, "the scale stuck")
    making.calibrate(recalibrated.revision, gain=1.05, offset_N=1.0, made_on=recalibrated.pulled_on)
    reworking.work_out_again(type(left).objects.filter(pk=recalibrated.pk))
    draining.drain()

    after = pool().current
    assert (before.sets, after.sets) == (4, 3)
    assert before.snapshot != after.snapshot
    assert f"equal, {before.efficiency!r}" in recomputed(before.snapshot)
    assert "equal" in recomputed(after.snapshot)


def test_a_recalibration_gives_another_snapshot_though_the_sets_are_the_same(league):
    before = pool().current
    session = league[0].session
    making.calibrate(session.revision, gain=1.0, offset_N=2.0, made_on=session.pulled_on)
    reworking.work_out_again(type(session).objects.filter(pk=session.pk))
    draining.drain()

    after = pool().current
    assert after.inputs["pull_sets"] == before.inputs["pull_sets"]
    assert after.inputs["calibrations"] != before.inputs["calibrations"]
    assert after.snapshot != before.snapshot


@pytest.mark.parametrize("figure", ["efficiency", "prediction_low", "held_by_nine", "cv_join"])
def test_a_figure_that_was_tampered_with_is_named_with_both_values(league, figure):
    now = pool().current
    PoolVersion.objects.filter(pk=now.pk).update(**{figure: 0.99})
    told = StringIO()
    with pytest.raises(CommandError, match="1 of 1 figures differ"):
        call_command("recompute", snapshot=now.snapshot, stdout=told)
    right = getattr(now, figure)
    assert f"{figure} is stored as 0.99 and recomputed as {right!r}" in told.getvalue()


def test_it_says_what_is_not_computed_again(league):
    assert "Not computed again" in recomputed(pool().current.snapshot)


def test_a_pull_that_was_tampered_with_shows_in_the_figures(league):
    now = pool().current
    Pull.objects.filter(pull_set=league[0], number=1).update(reading_N=60.0)
    told = StringIO()
    with pytest.raises(CommandError, match="differ"):
        call_command("recompute", snapshot=now.snapshot, stdout=told)
    assert "figures.mu is stored as" in told.getvalue()


def test_a_snapshot_that_names_nothing_is_said_to(league):
    with pytest.raises(CommandError, match="expected the 64 digits"):
        call_command("recompute", snapshot="abc")


def test_a_figure_that_is_computed_again_from_the_same_inputs_keeps_its_snapshot(league):
    first = pool().current
    reworking.work_out_again(type(league[0].session).objects.all())
    draining.drain()
    assert pool().current == first
    assert PullSet.objects.filter(state="pooled").count() == 4
