"""Comparing one's own tying with everyone else's (stories 4, 5 and 6)."""

import numpy as np
import pytest

from results.models import NormalisedSet, Pool
from results.pools.pool_data import members_of
from results.pools.tester_vs_pool import compare_in_members, compare_with_pool
from results.worker.embedded import drain
from rigs.models import Calibration
from rigs.refusals import Conflict
from tests.people import contributor
from tests.results.test_pooling import league, send


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def test_a_tester_whose_ties_are_weak_stands_below_the_others(db, rng):
    league(rng, 8)
    weak = contributor("weak hands")
    for _ in range(3):
        send(weak, rng, tester_effect=-0.25)
    drain()

    standing = compare_with_pool(weak, Pool.objects.get())

    assert standing.comparison.place == "below"
    assert standing.comparison.differs
    assert standing.comparison.ratio == pytest.approx(np.exp(-0.25), abs=0.06)
    assert standing.own.sessions == 3
    assert standing.own_pulls == 24


def test_the_pool_one_is_compared_with_leaves_oneself_out(db, rng):
    league(rng, 5)
    weak = contributor("weak hands")
    send(weak, rng, tester_effect=-0.06)
    drain()
    pool = Pool.objects.get()

    standing = compare_with_pool(weak, pool)

    assert standing.others.testers == pool.current.testers - 1
    assert standing.others.mu > np.log(pool.current.efficiency)


def test_who_waits_for_a_second_look_is_compared_all_the_same(db, rng):
    """Who ties unlike the others has most reason to compare."""
    league(rng, 5)
    weak = contributor("weak hands")
    send(weak, rng, tester_effect=-0.25)
    drain()
    pool = Pool.objects.get()
    assert weak.sessions.get().pull_sets.get().state == "held"

    standing = compare_with_pool(weak, pool)

    assert standing.others.testers == pool.current.testers == 5
    assert standing.own_efficiency < pool.current.efficiency


def test_one_of_the_crowd_stands_within_and_is_drawn_towards_the_pool(db, rng):
    league(rng, 8)
    drain()
    someone = Pool.objects.get().memberships.first().pull_set.session.contributor

    standing = compare_with_pool(someone, Pool.objects.get())

    others = np.exp(standing.others.mu)
    own, shrunken = standing.own_efficiency, standing.shrunken.value
    assert standing.comparison.place == "within"
    assert min(own, others) <= shrunken <= max(own, others)


def test_the_plan_asks_for_more_sessions_the_smaller_the_difference(db, rng):
    league(rng, 10)
    drain()
    someone = Pool.objects.get().memberships.first().pull_set.session.contributor

    small, large = compare_with_pool(someone, Pool.objects.get()).plans

    assert small.difference < large.difference
    assert large.sessions is not None
    assert small.sessions is None or small.sessions > large.sessions
    assert (small.sessions is None) == bool(small.why_not)


def test_without_a_set_of_ones_own_the_answer_says_what_to_pull(db, rng, owner):
    league(rng, 4)
    drain()

    with pytest.raises(Conflict) as refusal:
        compare_with_pool(owner, Pool.objects.get())

    assert "no set that counts in this pool" in refusal.value.detail


def test_two_others_are_too_few_to_compare_with(db, rng):
    sets = league(rng, 3)
    drain()

    with pytest.raises(Conflict) as refusal:
        compare_with_pool(sets[0].session.contributor, Pool.objects.get())

    assert "needs 3 testers; there are 2" in refusal.value.detail


@pytest.mark.usefixtures("planted_past")
def test_the_zero_error_of_ones_scale_stays_however_many_sessions_one_pulls(db, rng):
    league(rng, 6)
    someone = contributor("of one scale")
    for _ in range(4):
        send(someone, rng)
    drain()
    pool = Pool.objects.get()
    mine = Calibration.objects.filter(revision__sessions__contributor=someone)
    mine.update(u_offset_N=1e-6)
    known = compare_with_pool(someone, pool)
    mine.update(u_offset_N=4.0)
    unsure = compare_with_pool(someone, pool)

    moved_by = members_of(pool.pk).of_tester(someone.pk).zero
    assert moved_by == pytest.approx([4 * 0.0025] * 4, rel=0.4)
    added = unsure.own.variance - known.own.variance
    assert added == pytest.approx(moved_by.mean() ** 2, rel=0.15)
    assert unsure.comparison.standard_error > known.comparison.standard_error


def test_a_set_that_is_erased_while_one_is_compared_counts_without_its_zero_error(db, rng):
    league(rng, 5)
    drain()
    pool, someone = Pool.objects.get(), NormalisedSet.objects.first().pull_set.session.contributor
    members = members_of(pool.pk)
    NormalisedSet.objects.filter(pull_set__session__contributor=someone).delete()

    compared = compare_in_members(members, someone)

    assert compared.comparison is not None
    assert compared.shrunken is not None
