"""Story 22: a pooled figure, now or of long ago, computed again from the pulls to the digit."""

import copy
from io import StringIO

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from results.intake import amend
from results.jobs.queue import enqueue
from results.management.commands.recompute import EXPLAINED, UNEXPLAINED, UNKNOWN
from results.models import NormalisedSet, Pool, PoolVersion, Pull, PullSet, Session
from results.models.declared import Kept, names
from results.normalising import reprocess
from results.pools import reproduce
from results.pools.pool_data import members_of
from results.pools.reproduce import Cause
from results.pools.snapshots import FORMULAE, Moved, columns
from results.worker import embedded
from rigs.models import Calibration, RigRevision
from tests import making
from tests.api.leagues import league_of

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def league(db):
    return league_of({"Blood": 85.0}, testers=4)


def pool() -> Pool:
    return Pool.objects.select_related("current").get(connection__name="Blood")


def recomputed(snapshot: str) -> str:
    output = StringIO()
    call_command("recompute", snapshot=snapshot, stdout=output)
    return output.getvalue()


def refused(snapshot: str) -> tuple[int, str]:
    """The exit code, and all that is printed."""
    output = StringIO()
    with pytest.raises(CommandError) as error:
        call_command("recompute", snapshot=snapshot, stdout=output)
    return error.value.returncode, f"{output.getvalue()}{error.value}"


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
    reprocess.enqueue_reprocessing(type(borrower).objects.filter(pk=borrower.pk))
    embedded.drain()

    now = pool().current
    borrowing.refresh_from_db()
    assert borrowing.normalised.baseline.session_id == lender.pk
    assert now.sets == 5
    assert "equal" in recomputed(now.snapshot)


def test_a_version_of_long_ago_comes_out_as_it_was_after_a_withdrawal_and_a_calibration(league):
    before = pool().current
    left, recalibrated = league[0].session, league[1].session
    amend.withdraw(left, left.contributor, "the scale stuck")
    making.calibrate(recalibrated.revision, gain=1.05, offset_N=1.0, made_on=recalibrated.pulled_on)
    reprocess.enqueue_reprocessing(type(left).objects.filter(pk=recalibrated.pk))
    embedded.drain()

    after = pool().current
    assert (before.sets, after.sets) == (4, 3)
    assert before.snapshot != after.snapshot
    assert f"equal, {before.efficiency!r}" in recomputed(before.snapshot)
    assert "equal" in recomputed(after.snapshot)


def test_a_recalibration_gives_another_snapshot_though_the_sets_are_the_same(league):
    before = pool().current
    session = league[0].session
    making.calibrate(session.revision, gain=1.0, offset_N=2.0, made_on=session.pulled_on)
    reprocess.enqueue_reprocessing(type(session).objects.filter(pk=session.pk))
    embedded.drain()

    after = pool().current
    assert after.inputs["pull_sets"] == before.inputs["pull_sets"]
    assert after.inputs["calibrations"] != before.inputs["calibrations"]
    assert after.snapshot != before.snapshot


TAMPERED = {
    "efficiency": 0.99,
    "prediction_low": 0.5,
    "held_by_nine": 0.99,
    "cv_join": 0.99,
    "time_to_tie_s": 12.0,
    "bulk": 3.0,
    "testers": 3,
    "sessions": 3,
    "no_figure": "too few",
}


@pytest.mark.parametrize("column", TAMPERED)
def test_a_column_that_was_tampered_with_is_named_with_both_values(league, column):
    now = pool().current
    PoolVersion.objects.filter(pk=now.pk).update(**{column: TAMPERED[column]})
    code, output = refused(now.snapshot)
    right = getattr(now, column)
    assert f"{column} is stored as {TAMPERED[column]!r} and recomputed as {right!r}" in output
    assert (code, "1 of 1 versions differ" in output) == (UNEXPLAINED, True)


@pytest.mark.parametrize(
    "path", ["worst.efficiency", "endings.outlasted", "endings.modes.join", "told.bulk"]
)
def test_a_finding_that_was_tampered_with_is_named(league, path):
    now = pool().current
    findings = copy.deepcopy(now.findings)
    *above, last = path.split(".")
    place = findings
    for name in above:
        place = place[name]
    place[last] = 99
    PoolVersion.objects.filter(pk=now.pk).update(findings=findings)
    assert f"findings.{path} is stored as 99" in refused(now.snapshot)[1]


def test_what_ties_differ_in_and_how_they_were_tied_is_computed_again(league):
    for number, pull_set in enumerate(league):
        for turns in (number, number + 3, number + 7):
            session = making.session(pull_set.session.revision)
            making.straight(session, pull_set.main_line)
            lines = pull_set.main_line, pull_set.leader_line
            tied = making.joined(session, *lines, [80.0 + turns, 84.0, 88.0, 86.0, 85.0])
            PullSet.objects.filter(pk=tied.pk).update(
                parameters={"turns": 5 + turns}, time_to_tie_s=40.0 + turns, discarded_ties=1
            )
            enqueue(session)
    PullSet.objects.filter(pk__in=[one.pk for one in league]).update(parameters={"turns": 9})
    embedded.drain()
    now = pool().current
    assert [each["name"] for each in now.findings["moderators"]["tried"]] == ["turns"]
    assert now.time_to_tie_s > 40
    assert now.findings["endings"]["discarded"] > 4
    assert "equal to the digit" in recomputed(now.snapshot)
    PullSet.objects.filter(pk=league[0].pk).update(parameters={"turns": 2})
    assert "findings.moderators.tried[0].coefficient is stored as" in refused(now.snapshot)[1]


def test_rounding_is_no_difference_and_how_much_there_is_is_reported(league):
    now = pool().current
    PoolVersion.objects.filter(pk=now.pk).update(efficiency=now.efficiency * (1 + 4e-13))
    output = recomputed(now.snapshot)
    assert "all equal to 1e-12; the largest relative difference is 4e-13" in output


@pytest.mark.parametrize("libraries", [{"numpy": "2.2.0"}, None])
def test_more_than_that_is_put_down_to_other_libraries_where_they_are_others(league, libraries):
    now = pool().current
    inputs = {name: value for name, value in now.inputs.items() if name != "libraries"}
    inputs |= {"libraries": libraries} if libraries else {}
    versions = PoolVersion.objects.filter(pk=now.pk)
    versions.update(efficiency=now.efficiency * (1 + 1e-9))
    assert refused(now.snapshot)[0] == UNEXPLAINED
    versions.update(inputs=inputs)
    code, output = refused(now.snapshot)
    assert (code, "by rounding of other libraries" in output) == (EXPLAINED, True)
    versions.update(efficiency=now.efficiency * 1.001)
    assert refused(now.snapshot)[0] == UNEXPLAINED


def test_a_version_of_before_a_capacity_was_corrected_comes_out_as_it_was(league):
    """The zero of a scale without calibration is as uncertain as its capacity says."""
    Calibration.objects.update(standing=Calibration.Standing.VOIDED)
    versions = []
    for capacity_N in (300.0, 1500.0, None):
        RigRevision.objects.update(capacity_N=capacity_N)
        reprocess.enqueue_reprocessing(Session.objects.all())
        embedded.drain()
        versions.append(pool().current)
        members = members_of(pool().pk)
        stored = NormalisedSet.objects.order_by("pull_set_id").values_list("u_offset_log")
        assert np.abs(members.zero) == pytest.approx(np.array(stored).ravel(), rel=1e-12)

    known, unsure, share_of_line = versions
    assert len({version.snapshot for version in versions}) == 3
    assert unsure.figures["typical_sampling_variance"] > known.figures["typical_sampling_variance"]
    for version in versions:
        assert f"equal, {version.efficiency!r}" in recomputed(version.snapshot)
    assert "uncalibrated_N" in share_of_line.inputs


def test_what_traces_show_comes_out_again_and_its_error_is_shared_by_the_sets_of_a_scale(league):
    before = pool().current
    for pull_set, zero in zip(league, (0.0, 0.0, 1.5, -0.5), strict=True):
        for pull in Pull.objects.filter(pull_set=pull_set):
            making.traced(pull, samples_per_s=5.0, zero=zero)
    reprocess.enqueue_reprocessing(Session.objects.all())
    embedded.drain()

    after, members = pool().current, members_of(pool().pk)
    assert after.snapshot != before.snapshot
    assert (members.missed_peak > 0.01).all()
    assert np.sign(members.zero_of_pulls).tolist() == [0, 0, 1, -1]
    assert f"equal, {after.efficiency!r}" in recomputed(after.snapshot)
    assert after.figures["typical_sampling_variance"] > before.figures["typical_sampling_variance"]


def test_a_figure_that_later_formulae_say_they_moved_is_put_down_to_them(league, monkeypatch):
    now = pool().current
    versions = PoolVersion.objects.filter(pk=now.pk)
    versions.update(figures={**now.figures, "tau2_set": 0.5})
    monkeypatch.setattr(reproduce, "FORMULAE", FORMULAE + 1)
    for by, code, why in ((1.0, EXPLAINED, "other formulae"), (1e-8, UNEXPLAINED, "other data")):
        moved = Moved("tried otherwise", by, ("figures.tau2_*",))
        monkeypatch.setattr(reproduce, "MOVED", {FORMULAE + 1: (moved,)})
        found, output = refused(now.snapshot)
        assert "figures.tau2_set is stored as 0.5" in output
        assert (found, f"by {why}" in output) == (code, True)

    versions.update(bulk=2.0)
    code, output = refused(now.snapshot)
    assert (code, "1 by other data" in output) == (UNEXPLAINED, True)


def test_what_the_formulae_moved_for_some_pools_alone_is_put_down_to_them_in_those_alone(db):
    """Line products, other tyers, unsure zeros and missing covariates, in versions of release 1."""
    sets = league_of({"Blood": 85.0}, testers=6)
    now = pool().current
    left_out = {"left_out": {"coils": "told of 5 of 6 sets"}}
    moderators = {**now.findings["moderators"], **left_out}
    PoolVersion.objects.filter(pk=now.pk).update(
        inputs={**now.inputs, "formulae": 1},
        efficiency=now.efficiency * 1.2,
        findings={**now.findings, "moderators": moderators},
    )

    def causes() -> dict[str, str]:
        found = reproduce.recomputed(PoolVersion.objects.get(pk=now.pk)).differences
        return {one.figure: one.cause for one in found}

    covariate = "findings.moderators.left_out.coils"
    assert causes() == {"efficiency": Cause.DATA, covariate: Cause.DATA}
    first, all_sets = PullSet.objects.filter(pk=sets[0].pk), PullSet.objects.all()

    first.update(tyer="Friend")
    assert causes()["efficiency"] == Cause.FORMULAE
    first.update(tyer="")

    products = [making.line(name).pk for name in ("a", "b", "c")]
    for place, each in enumerate(sets):
        all_sets.filter(pk=each.pk).update(main_line=products[place // 2])
    assert causes()["efficiency"] == Cause.FORMULAE
    all_sets.update(main_line=sets[0].main_line_id)
    assert causes()["efficiency"] == Cause.DATA

    trace = making.traced(Pull.objects.filter(pull_set=sets[0])[0], zero=0.5)
    assert causes()["efficiency"] == Cause.FORMULAE
    trace.delete()
    assert causes()["efficiency"] == Cause.DATA

    calibrations = Calibration.objects.all()
    sure_N = calibrations.values_list("u_offset_N", flat=True)[0]
    calibrations.update(u_offset_N=5.0)
    assert causes()["efficiency"] == Cause.FORMULAE
    calibrations.update(u_offset_N=sure_N)

    first.update(parameters={"coils": 7})
    assert causes() == {"efficiency": Cause.DATA, covariate: Cause.FORMULAE}


def test_a_figure_that_was_not_known_then_is_no_difference(league):
    now = pool().current
    figures = {name: value for name, value in now.figures.items() if name != "H2"}
    findings = {name: value for name, value in now.findings.items() if name != "worst"}
    columns = [name for name in now.inputs["columns"] if name != "cv_join"]
    inputs = {**now.inputs, "columns": columns}
    versions = PoolVersion.objects.filter(pk=now.pk)
    versions.update(figures=figures, findings=findings, inputs=inputs, cv_join=None)
    output = recomputed(now.snapshot)
    for name in ("figures.H2", "findings.worst", "cv_join"):
        assert f"{name} was not known then" in output
    assert "1 of 1 were computed before there were all figures" in output


def test_a_figure_that_is_no_longer_computed_is_a_difference(league):
    now = pool().current
    PoolVersion.objects.filter(pk=now.pk).update(figures={**now.figures, "median": 0.8})
    assert "figures.median is stored as 0.8 and no longer computed" in refused(now.snapshot)[1]


def test_all_versions_are_computed_again_at_once(league):
    amend.withdraw(league[0].session, league[0].session.contributor, "the scale stuck")
    embedded.drain()
    output = StringIO()
    call_command("recompute", all=True, stdout=output)
    assert "2 recomputed, all equal to the digit" in output.getvalue()


def test_what_a_version_says_is_what_every_version_is_to_say(league):
    """Else an old one could not be seen to lack it."""
    now = pool().current
    assert set(now.figures) == set(names(Kept.FIGURES))
    assert set(now.findings) == set(names(Kept.FINDINGS))
    assert now.inputs["columns"] == sorted(columns())
    assert now.inputs["libraries"]["numpy"] == np.__version__


def test_it_says_what_is_not_computed_again(league):
    assert "Not computed again" in recomputed(pool().current.snapshot)


def test_a_pull_that_was_tampered_with_shows_in_the_figures(league):
    now = pool().current
    Pull.objects.filter(pull_set=league[0], number=1).update(reading_N=60.0)
    code, output = refused(now.snapshot)
    assert "figures.mu is stored as" in output
    assert (code, "by other data" in output) == (UNEXPLAINED, True)


def test_a_snapshot_that_names_nothing_is_said_to(league):
    code, output = refused("abc")
    assert (code, "expected the 64 digits" in output) == (UNKNOWN, True)


def test_a_figure_that_is_computed_again_from_the_same_inputs_keeps_its_snapshot(league):
    first = pool().current
    reprocess.enqueue_reprocessing(type(league[0].session).objects.all())
    embedded.drain()
    assert pool().current == first
    assert PullSet.objects.filter(state="pooled").count() == 4
