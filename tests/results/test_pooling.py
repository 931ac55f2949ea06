"""The pool: what testers on different rigs together say of one join."""

import numpy as np
import pytest
from django.db import transaction

from results.jobs import stale_marks
from results.jobs.queue import enqueue
from results.models import Pool, PullSet
from results.models.lifecycle import State, move
from results.pools import recompute
from results.worker.embedded import drain
from tests import making
from tests.people import contributor

TRUE_EFFICIENCY = 0.80


def send(
    person, rng, *, gain=1.0, offset_N=0.0, tester_effect=0.0, calibrated=True, tie="Blood"
) -> PullSet:
    """One session of a tester: straight line near 100 N, and eight pulls of the join."""
    name = f"bench of {person.handle}"
    revision = person.rigs.filter(name=name).first()
    revision = revision.revisions.get() if revision else making.revision_of(person, name=name)
    if calibrated and not revision.calibrations.exists():
        making.calibrate(revision, gain=gain, offset_N=offset_N)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    straight_N = 100 * np.exp(rng.normal(0, 0.025, 6))
    joined_N = 100 * TRUE_EFFICIENCY * np.exp(tester_effect + rng.normal(0, 0.06, 8))
    making.straight(session, main, gain * straight_N + offset_N)
    pull_set = making.joined(session, main, leader, gain * joined_N + offset_N, tie=tie)
    enqueue(session)
    return pull_set


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260110)


def league(rng, size: int, *, name: str = "tester", **rig) -> list[PullSet]:
    effects = rng.normal(0, 0.04, size)
    return [
        send(contributor(f"{name} {number}"), rng, tester_effect=effect, **rig)
        for number, effect in enumerate(effects)
    ]


def test_two_testers_give_their_sets_and_no_pooled_figure(db, rng):
    league(rng, 2)
    drain()

    version = Pool.objects.get().current
    assert (version.testers, version.sets) == (2, 2)
    assert version.efficiency is None
    assert "needs 3 testers; there are 2" in version.no_figure


def test_the_interval_holds_the_truth_as_often_as_it_says(db, rng):
    """Twenty leagues; at 95 in 100 fewer than sixteen would come once in three thousand runs."""
    for number in range(20):
        league(rng, 6, name=f"league {number}", tie=f"tie {number}")
    drain()

    versions = [pool.current for pool in Pool.objects.select_related("current")]
    held = [v.interval_low < TRUE_EFFICIENCY < v.interval_high for v in versions]
    assert len(held) == 20
    assert sum(held) >= 16
    assert all(v.prediction_low < v.interval_low for v in versions)
    assert all(v.interval_high < v.prediction_high for v in versions)
    assert all(0 <= v.i2 <= 1 for v in versions)


def test_a_rig_that_reads_a_tenth_low_does_not_move_the_pool_but_moves_the_mean_reading(db):
    """Two leagues of the same hands and lines, the one on rigs that read a tenth low.

    Each in a store of its own: in one, the second would be taken for a copy of the first.
    """
    figures, raw_means = [], []
    for gain in (1.0, 0.9):
        with transaction.atomic():
            rng = np.random.default_rng(7)
            sets = [
                send(contributor(f"tester {number}"), rng, gain=gain, calibrated=False)
                for number in range(9)
            ]
            drain()
            figures.append(Pool.objects.get().current.efficiency)
            raw_means.append(np.mean([pull.reading_N for one in sets for pull in one.pulls.all()]))
            transaction.set_rollback(True)

    assert figures[1] == pytest.approx(figures[0], rel=1e-3)
    assert raw_means[1] < 0.91 * raw_means[0]


def test_many_sessions_are_pooled_once_and_the_version_says_what_came(db, rng):
    league(rng, 5)
    drain()

    pool = Pool.objects.get()
    assert pool.versions.count() == 1
    assert len(pool.current.why) == 5
    assert "session" in pool.current.why[0]
    assert pool.current.number == 1


def test_a_set_taken_out_leaves_the_figure_and_stays_in_the_history(db, rng, moderator):
    sets = league(rng, 4)
    drain()
    out = PullSet.objects.get(pk=sets[0].pk)
    move([out], State.HELD, by=moderator.user, reason="readings that repeat")
    stale_marks.mark([out.normalised.pool_id], "set held: readings that repeat")

    recompute.refresh_pool(out.normalised.pool_id)

    pool = Pool.objects.get()
    assert pool.current.number == 2
    assert pool.current.testers == 3
    assert pool.current.why == ["set held: readings that repeat"]
    membership = out.memberships.get()
    assert (membership.since.number, membership.until.number) == (1, 2)


def test_without_a_mark_nothing_is_recomputed(db, rng):
    league(rng, 3)
    drain()

    recompute.refresh_pool(Pool.objects.get().pk)

    assert Pool.objects.get().versions.count() == 1


def test_a_recomputation_that_changes_nothing_adds_no_version(db, rng):
    league(rng, 3)
    drain()
    pool = Pool.objects.get()
    stale_marks.mark([pool.pk], "the same session once more")

    recompute.refresh_pool(pool.pk)

    assert pool.versions.count() == 1
    assert not pool.stale_marks.exists()


def test_wet_pulls_never_meet_dry_ones(db, rng, owner):
    league(rng, 3)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    session = making.session(making.revision_of(owner), state="soaked")
    making.straight(session, main)
    making.joined(session, main, leader, [80, 81, 79])
    enqueue(session)

    drain()

    assert sorted((pool.wet, pool.current.sets) for pool in Pool.objects.all()) == [
        (False, 3),
        (True, 1),
    ]
