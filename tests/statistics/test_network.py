"""Joins compared on one rig and day, pooled as a network, against metafor; ranks and groups."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from scipy.stats import t as student

from results.statistics.contrasts import Contrasts, within_baseline_contrasts
from results.statistics.errors import Disconnected, TooFewSets, TooFewTesters
from results.statistics.network import gap_to_pools, network
from results.statistics.ranking import groups, rank

TRUTH = {"Alberto": -0.19, "Double uni": -0.26, "FG": 0.02, "Slim beauty": -0.20}


def league(seed, testers=12, gap=0.0):
    """Sets of two to four joins on every tester's baseline; `gap` spoils one pair's meetings."""
    rng = np.random.default_rng(seed)
    rows = []
    for tester in range(testers):
        joins = rng.choice(list(TRUTH), rng.integers(2, 5), replace=False)
        of_rig = rng.normal(0, 0.1)
        spoilt = gap if {"Alberto", "FG"} <= set(joins) else 0.0
        for join in joins:
            own = 0.0049 / 6
            y = TRUTH[join] + of_rig + rng.normal(0, np.sqrt(own + 0.0003))
            rows.append((y + spoilt * (join == "FG"), own, join, tester, tester))
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_contrasts_sharing_an_arm_agree_with_a_multivariate_fit_in_metafor(pooling_reference):
    given = pooling_reference("multi-arm-shared-control")
    data, expected = given["data"], given["expected"]
    study = np.array(data["study"])
    contrasts = Contrasts(
        *(np.array(data[name]) for name in ("yi", "own_variance", "shared_baseline_variance")),
        np.array(data["treatment"]),
        np.array(data["base"]),
        study,
        study,
    )
    found = network(contrasts, "no_contact")
    place = [found.joins.index(name) for name in expected["treatments"]]
    assert found.tau2 == pytest.approx(expected["tau2"], rel=1e-6)
    assert found.estimate[place] == pytest.approx(expected["estimate"], rel=1e-6)
    assert found.covariance[np.ix_(place, place)] == pytest.approx(
        np.array(expected["covariance"]), rel=1e-6
    )
    assert found.restricted_loglik == pytest.approx(expected["restricted_loglik"], abs=1e-9)
    assert pytest.approx(expected["QE"], rel=1e-9) == found.common.Q


def test_what_a_rig_does_to_all_its_sets_drops_out():
    y, *rest = league(seed=1)
    disturbed = y + np.random.default_rng(5).normal(0, 1, 12)[rest[2]]
    plain, moved = (
        network(within_baseline_contrasts(values, *rest), "FG") for values in (y, disturbed)
    )
    assert moved.estimate == pytest.approx(plain.estimate, abs=1e-9)
    assert moved.tau2 == pytest.approx(plain.tau2, abs=1e-9)


def test_which_join_is_the_reference_does_not_matter():
    contrasts = within_baseline_contrasts(*league(seed=2))
    one, other = network(contrasts, "FG"), network(contrasts, "Alberto")
    place = [one.joins.index(join) for join in other.joins]
    shifted = one.estimate[place] - one.estimate[place[0]]
    assert other.estimate == pytest.approx(shifted, abs=1e-8)
    pair = {"FG", "Double uni"}
    ours, theirs = (
        next(d for d in found.differences if {d.first, d.second} == pair) for found in (one, other)
    )
    assert ours.se == pytest.approx(theirs.se, rel=1e-6)


def test_true_differences_lie_in_their_intervals_about_95_times_in_100():
    inside = []
    for seed in range(40):
        found = network(within_baseline_contrasts(*league(seed=100 + seed)), "FG")
        inside += [
            d.ci_low < TRUTH[d.first] - TRUTH[d.second] < d.ci_high for d in found.differences
        ]
    assert 0.9 < np.mean(inside) < 0.99


def test_a_pair_whose_meetings_contradict_the_rest_is_found_inconsistent():
    def inconsistency(gap):
        found = network(within_baseline_contrasts(*league(seed=3, testers=40, gap=gap)), "FG")
        return next(
            one for one in found.inconsistencies if {one.first, one.second} == {"FG", "Alberto"}
        )

    assert inconsistency(0.0).p > 0.05
    assert inconsistency(0.2).p < 0.01
    assert inconsistency(0.2).difference == pytest.approx(0.2, abs=0.1)


def test_the_network_agrees_with_differences_of_pooled_efficiencies():
    found = network(within_baseline_contrasts(*league(seed=4)), "FG")
    pooled = np.array([TRUTH[join] for join in found.joins])
    gap, error = gap_to_pools(found, pooled, np.full(4, 0.02))
    assert gap[0] == error[0] == 0
    assert (np.abs(gap[1:]) < 2 * error[1:]).all()


def test_two_sets_of_one_join_on_one_baseline_count_as_their_weighted_mean():
    found = within_baseline_contrasts(
        [-0.2, -0.3, 0.0], [0.001, 0.003, 0.002], ["uni", "uni", "FG"], [1, 1, 1], [1, 1, 1]
    )
    assert found.y == pytest.approx([-0.225])
    assert found.own_variance == pytest.approx([0.00075])
    assert found.shared_variance == pytest.approx([0.002])


def test_comparisons_that_cannot_be_made_are_refused_by_name():
    y, own, join, tester, baseline = league(seed=5)
    with pytest.raises(TooFewSets, match="no baseline has two joins"):
        within_baseline_contrasts(y, own, join, np.arange(y.size), np.arange(y.size))
    contrasts = within_baseline_contrasts(y, own, join, tester, baseline)
    with pytest.raises(Disconnected, match="Palomar"):
        network(contrasts, "Palomar")
    islands = replace(
        contrasts,
        treatment=np.where(contrasts.tester < 3, "San Diego", contrasts.treatment),
        base=np.where(contrasts.tester < 3, "Improved clinch", contrasts.base),
    )
    with pytest.raises(Disconnected, match="San Diego"):
        network(islands, "FG")
    with pytest.raises(TooFewTesters, match="3 testers"):
        network(replace(contrasts, tester=np.zeros_like(contrasts.tester)), "FG")


def test_a_p_score_is_the_mean_certainty_of_being_better():
    """Of two joins, against quadrature over how far joins lie apart."""
    away, variance = 0.1, 0.04

    def evidence(spread):
        return norm.pdf(away, 0, np.sqrt(2 * spread**2 + variance)) * student.pdf(spread / 0.1, 4)

    def certain(spread):
        share = 2 * spread**2 / (2 * spread**2 + variance)
        return norm.cdf(share * away / np.sqrt(share * variance)) * evidence(spread)

    expected = quad(certain, 0, 5)[0] / quad(evidence, 0, 5)[0]
    found = rank([0.0, -0.1], np.diag([0.01, 0.03]))
    assert found.p_score == pytest.approx([expected, 1 - expected], abs=0.005)
    assert found.best == pytest.approx([expected, 1 - expected], abs=0.007)


def test_fewer_degrees_of_freedom_make_a_place_less_sure_and_shared_errors_surer():
    estimate, error = [0.0, -0.1, -0.2], 0.0025 * np.eye(3)
    alone = rank(estimate, error).best[0]
    assert rank(estimate, error, 3.0).best[0] < alone
    assert rank(estimate, error + 0.002 * (1 - np.eye(3))).best[0] > alone


def test_joins_that_nothing_tells_apart_share_the_chances():
    found = rank([0.1, 0.1, 0.1, 0.1], 0.01 * np.eye(4))
    assert found.p_score == pytest.approx(np.full(4, 0.5))
    assert found.best == pytest.approx(np.full(4, 0.25), abs=0.005)
    assert found.best_two.sum() == pytest.approx(2)


def test_joins_of_a_league_fall_into_groups_of_those_that_are_not_separated():
    found = network(within_baseline_contrasts(*league(seed=6, testers=20)), "FG")
    joins = [found.joins[place] for place in np.argsort(-found.estimate)]
    apart = np.zeros((len(joins), len(joins)), dtype=bool)
    for each in found.differences:
        i, j = joins.index(each.first), joins.index(each.second)
        apart[i, j] = apart[j, i] = each.p_holm <= 0.05
    named = [{joins[place] for place in group} for group in groups(apart)]
    assert named[0] == {"FG"}
    assert any({"Alberto", "Slim beauty"} <= group for group in named)


def test_a_join_between_two_others_may_belong_to_both_groups():
    assert groups([[0, 0, 1], [0, 0, 0], [1, 0, 0]]) == ((0, 1), (1, 2))


@pytest.mark.parametrize("joins", [1, 2, 4, 7])
def test_two_joins_share_a_group_exactly_where_they_are_not_separated(joins):
    rng = np.random.default_rng(joins)
    for share in (0.0, 0.3, 0.6, 1.0):
        drawn = np.triu(rng.random((joins, joins)) < share, 1)
        apart = drawn | drawn.T
        found = groups(apart)
        together = np.zeros((joins, joins), dtype=bool)
        for group in found:
            together[np.ix_(group, group)] = True
        assert np.array_equal(together, ~apart)
        assert not any(set(one) < set(other) for one in found for other in found)


def test_a_difference_that_rests_on_one_comparison_alone_is_left_out():
    two_sets = ([-0.02, -0.1], [0.0049 / 6] * 2, ["FG", "Bimini"], [99] * 2, [99] * 2)
    columns = map(np.append, league(seed=1), two_sets)
    found = network(within_baseline_contrasts(*columns), "FG")
    answer = {frozenset((one.first, one.second)) for one in found.differences}
    assert frozenset(("FG", "Bimini")) not in answer
    assert len(answer) == 9


def test_p_of_each_difference_is_adjusted_for_all_of_them():
    found = network(within_baseline_contrasts(*league(seed=6)), "FG").differences
    ordered = sorted(found, key=lambda each: each.p)
    assert ordered[0].p_holm == pytest.approx(min(1, len(found) * ordered[0].p), rel=1e-12)
    assert [each.p_holm for each in ordered] == sorted(each.p_holm for each in found)
    assert all(each.p <= each.p_holm <= 1 for each in found)


@pytest.mark.parametrize("error", [1e-7, 1e-9, 1e-12, 0.0])
def test_joins_that_are_known_to_the_last_digit_are_ranked_by_what_differs(error):
    """Rounding makes of such a covariance one whose differences have variances below zero."""
    rng = np.random.default_rng(16)
    for apart in (0.0, 0.02, 1.0):
        for _ in range(20):
            tied = rng.normal(size=(3, int(rng.choice([1, 3])))) * 10 ** rng.uniform(-2, 0, (3, 1))
            estimate = apart * np.array([1.0, 0.0, -1.0])
            found = rank(estimate, error**2 * tied @ tied.T, 5)
            assert found.best.sum() == pytest.approx(1)
            assert found.p_score.mean() == pytest.approx(0.5, abs=1e-3)
            if apart:
                assert found.p_score == pytest.approx([1, 0.5, 0], abs=1e-3)
