"""Am I below the pool, and do I tie less evenly? One's own figures beside everyone else's."""

import numpy as np
import pytest
from scipy.stats import t as student
from scipy.stats import ttest_ind_from_stats

from results.statistics.comparison import (
    OwnMean,
    compare,
    compare_scatter,
    own_mean,
    variance_between_testers,
)
from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewSets
from results.statistics.precision import precision
from results.statistics.scatter import Scatter

POOL = {
    "mu": np.log(0.80),
    "se": 0.015,
    "degrees_of_freedom": 8.0,
    "tau2_tester": 0.04**2,
    "prediction_freedom": 8.0,
}


def own(ratio, se=0.02):
    return OwnMean(float(np.log(ratio)), se**2, 4, 4)


def test_a_weak_tyer_is_reported_to_be_below_what_testers_differ_by():
    found = compare(own(0.80 * np.exp(-0.17)), **POOL)
    assert found.differs
    assert found.place == "below"
    assert found.ratio == pytest.approx(np.exp(-0.17))
    assert found.ratio_low < found.ratio < found.ratio_high < 1.0


def test_a_tester_off_the_pool_may_still_be_within_what_testers_differ_by():
    found = compare(own(0.73, se=0.005), **POOL)
    assert found.differs
    assert found.place == "within"


def test_at_the_pools_own_value_half_the_testers_are_below():
    found = compare(own(0.80), **POOL)
    assert found.share_below == pytest.approx(0.5)
    assert not found.differs


def test_the_interval_of_the_difference_is_students_with_the_pools_freedom_grown():
    found = compare(own(0.70), **POOL)
    variance = 0.02**2 + 0.015**2
    freedom = 8.0 * (variance / 0.015**2) ** 2
    half = student.ppf(0.975, freedom) * np.sqrt(variance)
    assert found.log_difference == pytest.approx(np.log(0.70 / 0.80))
    assert np.log(found.ratio_high) == pytest.approx(np.log(0.70 / 0.80) + half, rel=1e-12)
    assert found.degrees_of_freedom == pytest.approx(freedom)


def test_testers_much_alike_still_differ_by_what_the_prediction_allows():
    """A pool that saw no difference between testers and yet predicts with an sd of 0.02."""
    allowed = variance_between_testers(0.02, 0.004, 0.005**2, 0.0)
    assert allowed == pytest.approx(0.02**2 - 0.004**2 - 0.005**2)
    assert variance_between_testers(0.004, 0.004, 0.005**2, 0.0) == 0.0


def test_own_sets_that_share_a_baseline_are_worth_less_than_as_many_sessions():
    figures = ([-0.2, -0.25], [0.0004, 0.0004], [0.0003, 0.0003])
    shared = own_mean(*figures, [1, 1], [1, 1], tau2_session=0.0001, tau2_set=0.0)
    apart = own_mean(*figures, [1, 2], [1, 2], tau2_session=0.0001, tau2_set=0.0)
    assert shared.log_ratio == pytest.approx(-0.225)
    assert shared.variance == pytest.approx(0.0004 / 2 + 0.0003 + 0.0001)
    assert apart.variance == pytest.approx((0.0004 + 0.0003 + 0.0001) / 2)
    assert (shared.sessions, apart.sessions) == (1, 2)


def test_a_zero_error_of_one_calibration_is_shared_by_its_sessions_and_does_not_average_out():
    figures = ([-0.2, -0.25], [0.0004, 0.0004], [0.0003, 0.0003], [1, 2], [1, 2])
    taus = {"tau2_session": 0.0001, "tau2_set": 0.0}
    without = own_mean(*figures, **taus).variance
    one = own_mean(*figures, **taus, zero=[0.02, 0.02], scale=[7, 7]).variance
    two = own_mean(*figures, **taus, zero=[0.02, 0.02], scale=[7, 8]).variance
    assert one == pytest.approx(without + 0.02**2)
    assert two == pytest.approx(without + 0.02**2 / 2)
    both = own_mean(*figures, **taus, zero=[[0.02, 0.01], [0.02, 0.01]], scale=[7, 7]).variance
    assert both == pytest.approx(one + 0.01**2)
    assert own_mean(*figures, **taus, zero=[0.02, -0.02], scale=[7, 7]).variance == pytest.approx(
        without
    ), "joins above and below their line move in opposite ways"
    with pytest.raises(NotFinite):
        own_mean(*figures, **taus, zero=np.nan)


def test_a_tester_who_ties_like_the_others_differs_from_them_as_seldom_as_promised():
    """Four sessions on one calibration whose zero is off: loads of the join at 0.6 of the line."""
    rng = np.random.default_rng(16)
    line_N, share, u_N = 100.0, 0.6, 1.5
    moved = (1 / (share * line_N) - 1 / line_N) * u_N
    own, shared, sessions = np.full(4, 0.0004), np.full(4, 0.0002), np.arange(4)
    differs = {True: 0, False: 0}
    for _ in range(2000):
        zero_N = rng.normal(0, u_N)
        join, line = share * line_N + zero_N, line_N + zero_N
        y = np.log(join / line) + rng.normal(0, np.sqrt(own + shared))
        for known in (True, False):
            mean = own_mean(
                y, own, shared, sessions, sessions,
                tau2_session=0.0, tau2_set=0.0, zero=moved if known else 0.0,
            )  # fmt: skip
            away = abs(mean.log_ratio - np.log(share)) / np.sqrt(mean.variance)
            differs[known] += away > 1.96
    assert differs[True] / 2000 == pytest.approx(0.05, abs=0.015)
    assert differs[False] / 2000 > 0.10, "as if the zero were known"


def test_own_scatter_beside_equal_others_has_the_k_of_an_interlaboratory_study():
    random = np.random.default_rng(8)
    values, tester = random.normal(80, 4, 20), np.repeat(["me", "b", "c", "d"], 5)
    study = precision(values, tester)
    others = Scatter(float(np.sqrt((study.sds[1:] ** 2).mean())), 12.0)
    found = compare_scatter(Scatter(float(study.sds[0]), 4.0), others)
    assert found.k == pytest.approx(study.k[0])
    assert found.ratio_low < found.ratio < found.ratio_high


def test_twice_the_scatter_of_the_pool_on_forty_pulls_is_beyond_chance():
    found = compare_scatter(Scatter(0.12, 39), Scatter(0.06, 400))
    assert found.k > found.k_critical_1_percent > found.k_critical_5_percent
    assert found.f == pytest.approx(4.0)
    assert found.probability < 1e-6


def test_f_probabilities_are_two_sided_and_the_same_seen_from_either_side():
    mine = compare_scatter(Scatter(0.05, 6), Scatter(0.06, 9))
    theirs = compare_scatter(Scatter(0.06, 9), Scatter(0.05, 6))
    assert mine.probability == pytest.approx(theirs.probability)
    assert mine.ratio_low == pytest.approx(1 / theirs.ratio_high)


def test_a_comparison_with_a_small_pool_is_welchs_test_when_ones_own_variance_is_certain():
    welch = ttest_ind_from_stats(-0.30, 0.02, 10**7, -0.22, 0.05, 6, equal_var=False)
    pool = POOL | {"mu": -0.22, "se": 0.05 / np.sqrt(6), "degrees_of_freedom": 5.0}
    found = compare(OwnMean(-0.30, 0.02**2 / 10**7, 1, 1), **pool)
    ours = 2 * student.sf(
        abs(found.log_difference) / found.standard_error, found.degrees_of_freedom
    )
    assert ours == pytest.approx(welch.pvalue, rel=1e-4)


def test_what_a_comparison_lacks_is_named():
    with pytest.raises(TooFewSets, match="no set of one's own"):
        own_mean([], [], [], [], [], tau2_session=0.0, tau2_set=0.0)
    with pytest.raises(ShapeMismatch):
        own_mean([-0.2], [0.1, 0.1], [0.1], [1], [1], tau2_session=0.0, tau2_set=0.0)
    with pytest.raises(NotPositive):
        own_mean([-0.2], [0.0], [0.1], [1], [1], tau2_session=0.0, tau2_set=0.0)
    with pytest.raises(NotFinite):
        compare(own(0.8), **(POOL | {"mu": float("nan")}))
    with pytest.raises(NotPositive):
        compare(own(0.8), **(POOL | {"se": 0.0}))
