"""What somebody else tied on a tester's rig is neither that tester's tying nor their cluster."""

from dataclasses import replace

import numpy as np
import pytest

from results.charts.pool_forest import forest_of
from results.jobs.queue import enqueue
from results.models import DirectComparison, Pool, PoolVersion, PullSet
from results.pools.estimate import pooled_from
from results.pools.pool_data import members_of, members_of_each
from results.pools.reproduce import recomputed
from results.pools.tester_vs_pool import compare_in_members
from results.pools.two_estimands import by_one_model
from results.worker import embedded
from rigs.models import Contributor
from rigs.refusals import Conflict
from tests import making
from tests.api.leagues import send
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")

OWN_N, FRIENDS_N = 80.0, 60.0


@pytest.fixture(autouse=True)
def _nothing_waits_for_a_second_look(settings):
    """The stories are of sets that count, no matter how far they move their pool."""
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}


def league(friends: tuple[str, ...] = ("", "Friend", "friend ", "Neighbour")) -> Pool:
    """Five testers; the first pulls a tie of their own and then what others tied."""
    rng = np.random.default_rng(9)
    people = [contributor(f"tester {number}") for number in range(5)]
    for person in people[1:] * 2:
        send(person, rng, "Blood", OWN_N)
    for tyer in friends:
        sent = send(people[0], rng, "Blood", FRIENDS_N if tyer else OWN_N)
        PullSet.objects.filter(pk=sent.pk).update(tyer=tyer)
    embedded.drain()
    return Pool.objects.get()


def first() -> Contributor:
    return Contributor.objects.get(handle="tester 0")


@pytest.mark.django_db
def test_a_friends_ties_are_a_tester_of_their_own_in_the_fit():
    pool = league()
    members = members_of(pool.pk)
    assert sorted(members.hand[members.tester == first().pk].tolist()) == [0, 1, 1, 2]
    fit = pooled_from(members).fit
    assert fit.model.nesting.testers.size == 7
    figures = pool.current.figures
    assert figures["testers"] == 7
    assert pool.current.testers == 5
    own = dict(
        zip(figures["tester_effects"]["tester"], figures["tester_effects"]["effect"], strict=True)
    )
    assert set(own) == set(members.tester.tolist())
    assert set(figures["leave_one_out"]["tester"]) == set(own)
    # Ties of 60 N pull a tester of 80 N down no longer.
    assert own[first().pk] > 0


@pytest.mark.django_db
def test_a_friends_ties_do_not_count_as_ones_own_tying():
    pool = league()
    compared = compare_in_members(members_of(pool.pk), first())
    assert compared.own.sessions == 1
    assert compared.own_pulls == 6
    assert compared.own_efficiency == pytest.approx(OWN_N / 100, abs=0.08)


@pytest.mark.django_db
def test_who_pulled_only_what_others_tied_has_no_tying_to_compare():
    pool = league(("Friend",))
    with pytest.raises(Conflict, match="Somebody else tied all your sets"):
        compare_in_members(members_of(pool.pk), first())


@pytest.mark.django_db
def test_one_account_with_two_friends_is_no_pool_of_three():
    rng = np.random.default_rng(2)
    person = contributor("alone")
    for tyer in ("", "Friend", "Neighbour"):
        sent = send(person, rng, "Blood", OWN_N)
        PullSet.objects.filter(pk=sent.pk).update(tyer=tyer)
    embedded.drain()
    assert Pool.objects.get().current.no_figure == "a pooled figure needs 3 testers; there are 1"


@pytest.mark.django_db
def test_a_session_in_which_two_tied_is_divided_between_them():
    pool = league()
    members = members_of(pool.pk)
    mine = members.tester == first().pk
    one = {
        name: np.where(mine, getattr(members, name)[mine][0], getattr(members, name))
        for name in ("session", "baseline", "baseline_n_effective")
    }
    together = replace(members, **one)
    tyers = together.tyers
    assert np.unique(tyers.session[mine]).size == 3
    assert pooled_from(together).pooled is not None


@pytest.mark.django_db
def test_the_one_model_and_the_forest_go_by_who_tied():
    """As if each other who tied had an account."""
    pool = league()
    members = members_of(pool.pk)
    of_accounts = replace(
        members,
        tester=np.where(members.hand > 0, 1_000 + members.hand, members.tester),
        hand=np.zeros(len(members), dtype=np.int64),
    )
    found, expected = by_one_model(members)["one_stage"], by_one_model(of_accounts)["one_stage"]
    assert found["combination"]["efficiency"] == expected["combination"]["efficiency"]
    for end in ("interval_low", "interval_high"):
        assert found["combination"][end] == pytest.approx(expected["combination"][end], abs=2e-6)
    rows = {row.label: row.value for row in forest_of(pool.current).rows}
    assert rows["tester 0, 1 set"] == pytest.approx(OWN_N, abs=8)
    assert rows["tied for tester 0, 2 sets"] == pytest.approx(FRIENDS_N, abs=8)
    assert rows["tied for tester 0, 1 set"] == pytest.approx(FRIENDS_N, abs=8)


@pytest.mark.django_db
def test_a_friends_tie_against_ones_own_on_one_baseline_is_no_comparison_of_joins():
    """Hands would be compared, and not joins; and three who tied for one tester are no three."""
    rng = np.random.default_rng(4)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(4):
        revision = making.revision_of(contributor(f"tester {number}"))
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.02, 6)))
        for tie, strength_N in (("Blood", OWN_N), ("Nail", OWN_N if number else FRIENDS_N)):
            pulls_N = strength_N * np.exp(rng.normal(0, 0.03, 8))
            sent = making.joined(session, main, leader, pulls_N, tie=tie)
            if not number and tie == "Nail":
                PullSet.objects.filter(pk=sent.pk).update(tyer="Friend")
        enqueue(session)
    embedded.drain()
    figures = DirectComparison.objects.get().figures
    assert (figures["testers"], figures["contrasts"], figures["baselines"]) == (3, 3, 3)
    (answer,) = figures["differences"]
    assert abs(answer["difference"]) < 0.06

    PullSet.objects.filter(session__contributor=first()).update(tyer="")
    PullSet.objects.exclude(session__contributor=first()).update(tyer="Friend")
    both = members_of_each(Pool.objects.values_list("pk", flat=True))
    blood, nail = (members.tyers.tyer.tolist() for members in both.values())
    assert blood == nail
    assert len(set(blood)) == 4


@pytest.mark.django_db
def test_computed_again_from_the_pulls_it_is_the_same():
    league()
    for version in PoolVersion.objects.all():
        assert recomputed(version).differences == ()


@pytest.mark.django_db
def test_erasing_who_tied_leaves_it_somebody_else():
    pool = league(("", "Friend", "friend"))
    before = pooled_from(members_of(pool.pk)).pooled.mu
    PullSet.objects.exclude(tyer="").update(tyer="somebody else")
    assert pooled_from(members_of(pool.pk)).pooled.mu == pytest.approx(before, abs=1e-12)
