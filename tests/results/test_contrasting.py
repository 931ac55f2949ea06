"""Joins pulled on the same rig and day are compared without what these have in common."""

from dataclasses import replace

import numpy as np
import pytest

from results.jobs.queue import enqueue
from results.models import DirectComparison, Pool, PoolVersion, Session
from results.pages.pools.line_pair import contrasts_of
from results.pools.conclusions import Conclusion, Evidence, conclusions
from results.pools.figures import figures_of
from results.pools.ranking import chances, places
from results.worker.embedded import drain
from tests import making
from tests.people import contributor


def pull_both(testers: int, ratio: float) -> None:
    """Each tester, a weak or a strong one, pulls Blood, and Nail that holds so much more."""
    rng = np.random.default_rng(11)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(testers):
        revision = making.revision_of(contributor(f"tester {number}"))
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        hand = float(np.exp(rng.normal(0, 0.15)))
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.02, 6)))
        for tie, strength in (("Blood", 60.0), ("Nail", 60.0 * ratio)):
            pulls_N = strength * hand * np.exp(rng.normal(0, 0.03, 8))
            making.joined(session, main, leader, pulls_N, tie=tie)
        enqueue(session)
    drain()


def test_the_difference_is_the_mean_of_those_within_each_session(db):
    pull_both(testers=5, ratio=1.1)
    comparison = DirectComparison.objects.get()
    (answer,) = comparison.figures["differences"]
    names = {pool.pk: pool.connection.name for pool in Pool.objects.all()}
    assert {names[answer["first"]], names[answer["second"]]} == {"Blood", "Nail"}
    within = []
    for session in Session.objects.all():
        mean = {each.connection.name: each.normalised.mean_N for each in session.pull_sets.all()}
        within.append(np.log(mean[names[answer["first"]]] / mean[names[answer["second"]]]))
    assert answer["difference"] == pytest.approx(np.mean(within), abs=1e-3)
    assert answer["together"] == 5


def test_it_tells_joins_apart_that_their_pools_alone_can_not(db):
    pull_both(testers=5, ratio=1.1)
    (answer,) = DirectComparison.objects.get().figures["differences"]
    assert answer["ci_low"] * answer["ci_high"] > 0
    of_pools = answer["of_pools"]
    assert abs(of_pools["difference"]) < 2 * of_pools["se"]


def test_by_two_testers_nothing_is_compared_and_it_says_why(db):
    pull_both(testers=2, ratio=1.1)
    comparison = DirectComparison.objects.get()
    assert comparison.figures == {}
    assert "3 testers" in comparison.why_not


def test_it_follows_its_pools(db):
    pull_both(testers=4, ratio=1.1)
    current = sorted(Pool.objects.values_list("current", flat=True))
    assert DirectComparison.objects.get().versions == current


def test_a_difference_is_clear_only_after_adjusting_for_all_joins_of_the_line_pair(db):
    pull_both(testers=5, ratio=1.1)
    comparison = DirectComparison.objects.get()
    (answer,) = comparison.figures["differences"]
    assert answer["p_holm"] == answer["p"]  # of one difference alone
    pools = list(Pool.objects.select_related("current", "connection"))
    concluded = conclusions(pools, comparison)
    (shown,) = contrasts_of(comparison, pools, concluded)
    assert shown.differs
    assert not shown.by_pools
    found = {pair: replace(one, p_holm=0.06) for pair, one in concluded.items()}
    (shown,) = contrasts_of(comparison, pools, found)
    assert shown.low > 1
    assert not shown.differs


def pools_and_comparison(alike: int, narrow: bool):
    """Joins of one efficiency, so many, by their pools alone or with a narrow direct difference."""
    pools = []
    for pk in range(1, alike + 1):
        figures = {"mu": -0.2 + 0.001 * pk, "se_robust": 0.02, "df_satterthwaite": 6.0}
        pools.append(Pool(pk=pk, current=PoolVersion(figures=figures)))
    direct = {"first": 1, "second": 2, "difference": 0.03, "p": 0.01}
    ends = (0.02, 0.04) if narrow else (-0.2, 0.26)
    direct |= dict(zip(("ci_low", "ci_high"), ends, strict=True))
    return pools, DirectComparison(figures={"differences": [direct]})


def test_of_direct_comparison_and_pools_the_one_that_is_surer_decides():
    for narrow, evidence in ((True, Evidence.DIRECT), (False, Evidence.POOLS)):
        concluded = conclusions(*pools_and_comparison(2, narrow))
        (found,) = concluded.values()
        assert found.evidence is evidence
        assert found.differs is narrow


def test_p_is_adjusted_for_all_pairs_of_the_line_pair_also_those_nobody_tied_both_of():
    found = conclusions(*pools_and_comparison(4, narrow=True))
    assert len(found) == 6
    assert found[frozenset((1, 2))].p_holm == pytest.approx(6 * 0.01)


def test_a_join_clearly_stronger_by_direct_comparison_comes_first_though_its_figure_is_lower():
    """And joins that beat one another in a circle still have an order and places."""
    pools, comparison = pools_and_comparison(2, narrow=True)
    concluded = conclusions(pools, comparison)
    found = [(place.pool.pk, place.first, place.last) for place in places(pools, concluded)]
    assert found == [(1, 1, 1), (2, 2, 2)]
    assert figures_of(pools[0].current)["mu"] < figures_of(pools[1].current)["mu"]

    three, _ = pools_and_comparison(3, narrow=True)
    circle = {
        frozenset(pair): Conclusion(*pair, Evidence.DIRECT, 0.1, 0.09, 0.11, 0.001, 0.003)
        for pair in ((1, 2), (2, 3), (3, 1))
    }
    assert [(one.first, one.last) for one in places(three, circle)] == [(2, 2)] * 3


def test_joins_that_the_same_testers_tied_have_a_surer_order(db):
    pull_both(testers=5, ratio=1.1)
    comparison = DirectComparison.objects.get()
    pools = list(Pool.objects.select_related("current"))
    best = [
        max(chance.best for chance in chances(pools, known, {}).values())
        for known in (None, comparison)
    ]
    assert comparison.figures["correlation"]["of_means"][0][1] > 0.3
    assert best[1] > best[0] + 0.05
