"""How many more pulls? Planning figures against the trade's and against simulation."""

import numpy as np
import pytest
from scipy.stats import ttest_ind
from statsmodels.stats.power import TTestIndPower

from results.statistics.errors import NotFinite, NotPositive
from results.statistics.planning import (
    BeyondReach,
    SessionPlan,
    difference_detectable_by_pulls,
    difference_detectable_by_sessions,
    power_against_pool,
    power_of_t,
    pulls_for_difference,
    sessions_for_difference,
)

PLAN = SessionPlan(pulls=6, baseline_pulls=6, cv_join=0.06, cv_baseline=0.03, session_sd=0.015)


@pytest.mark.parametrize(
    ("cv", "points", "pulls"), [(0.05, 9, 5), (0.05, 5, 13), (0.08, 14, 5), (0.08, 5, 31)]
)
def test_two_joins_near_85_percent_need_the_pulls_that_the_trade_quotes(cv, points, pulls):
    """Common planning figures at 80 percent power; common practice, no source."""
    assert pulls_for_difference(points / 85, cv) == pytest.approx(pulls, abs=1)
    assert 85 * difference_detectable_by_pulls(pulls, cv) == pytest.approx(points, abs=0.5)


@pytest.mark.parametrize("effect", [0.3, 0.8, 2.0])
def test_pulls_agree_with_statsmodels_power_of_the_t_test(effect):
    wanted = TTestIndPower().solve_power(effect_size=effect, alpha=0.05, power=0.9)
    assert pulls_for_difference(effect * 0.05, 0.05, power=0.9) == int(np.ceil(wanted))


def test_the_power_of_a_t_test_is_what_simulated_pulls_give():
    random = np.random.default_rng(80)
    joined = random.normal(0.85, 0.05, (4000, 6)), random.normal(0.78, 0.05, (4000, 6))
    found = (ttest_ind(*joined, axis=1).pvalue < 0.05).mean()
    assert power_of_t(0.07, 0.05 * np.sqrt(2 / 6), 10) == pytest.approx(found, abs=0.025)


def test_the_sessions_planned_reach_the_power_asked_for_and_one_fewer_does_not():
    sessions = sessions_for_difference(0.05, PLAN, pool_se=0.012, pool_freedom=9)
    assert power_against_pool(0.05, PLAN, sessions, 0.012, 9) >= 0.8
    assert power_against_pool(0.05, PLAN, sessions - 1, 0.012, 9) < 0.8
    assert difference_detectable_by_sessions(sessions, PLAN, 0.012, 9) <= 0.05


def test_no_number_of_sessions_tells_a_difference_that_the_pool_is_too_uncertain_for():
    with pytest.raises(BeyondReach, match="other testers' sets are needed"):
        sessions_for_difference(0.02, PLAN, pool_se=0.02, pool_freedom=3)


def test_a_difference_beyond_any_number_of_pulls_is_refused():
    with pytest.raises(BeyondReach, match="not even 100000 pulls"):
        pulls_for_difference(1e-5, 0.08)


def test_a_difference_fifty_times_the_scatter_needs_the_two_pulls_that_a_scatter_needs():
    assert pulls_for_difference(0.5, 0.01) == 2


def test_planning_without_a_scatter_or_a_power_is_refused():
    with pytest.raises(NotPositive, match="scatter must be above zero"):
        pulls_for_difference(0.05, 0.0)
    with pytest.raises(NotPositive, match="power must lie between"):
        pulls_for_difference(0.05, 0.05, power=1.0)
    with pytest.raises(NotFinite, match="difference is missing"):
        pulls_for_difference(float("nan"), 0.05)
    with pytest.raises(NotPositive, match="session scatter"):
        SessionPlan(6, 6, 0.06, 0.03, -0.1)
