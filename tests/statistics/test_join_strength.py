"""The strength of the join itself: centre, low tail, and the bound where it hardly ever fails."""

import numpy as np
import pytest
from scipy.stats import nct

from results.statistics.errors import TooFewPulls
from results.statistics.join_strength import join_strength


def test_the_low_tail_of_cord_rests_on_the_weibull_that_fits_ten_units_better(reference):
    cord = reference("breaking-load-yarn-and-chain")["braided_cord_right_censored"]
    loads = cord["failed"] + cord["right_censored"]
    at_least = [False] * len(cord["failed"]) + [True] * len(cord["right_censored"])
    held = join_strength(loads, at_least).estimate.held
    expected = cord["expected"]["weibull"]
    assert (held.family, held.bound_family) == ("weibull", "weibull")
    assert held.lead == pytest.approx(125.942545504 - 115.764720629, abs=1e-6)
    quantile = expected["scale"] * (-np.log(0.95)) ** (1 / expected["shape"])
    assert held.load_N == pytest.approx(quantile, rel=1e-9)
    assert held.lower_bound_N < held.load_N


def test_whole_lognormal_samples_get_the_exact_students_t_and_noncentral_t_limits():
    logs = np.array([4.52, 4.61, 4.58, 4.66, 4.49, 4.57, 4.62])
    found = join_strength(np.exp(logs), np.zeros(7, dtype=bool)).estimate
    half = 2.446911851 * logs.std(ddof=1) / np.sqrt(7)  # Student's t, 6 df, tables
    assert np.log(found.median_low_N) == pytest.approx(logs.mean() - half, abs=1e-8)
    assert np.log(found.median_high_N) == pytest.approx(logs.mean() + half, abs=1e-8)
    factor = nct.ppf(0.95, 6, 1.6448536 * np.sqrt(7)) / np.sqrt(7)
    exact = np.exp(logs.mean() - factor * logs.std(ddof=1))
    assert found.held.lower_bound_N <= exact * (1 + 1e-7)


def test_pulls_that_cannot_tell_the_families_apart_take_the_more_cautious_bound():
    loads = [88.0, 92.0, 95.0, 97.0, 101.0]
    held = join_strength(loads, [False] * 5).estimate.held
    assert held.lead < 2.0
    assert held.bound_family == "weibull"


def test_a_join_that_outlasted_the_line_nine_times_in_ten_gets_no_strength_but_a_bound():
    """Lower 95 percent bound of 9 of 10: 0.606 (Clopper & Pearson 1934, in common tables)."""
    found = join_strength(np.linspace(90, 99, 10), [True] * 9 + [False])
    assert found.estimate is None
    assert (found.outlasted, found.n) == (9, 10)
    assert found.outlasting_share_low == pytest.approx(0.6058, abs=5e-5)


def test_a_join_that_never_failed_in_ten_pulls_outlasts_the_line_in_seven_of_ten_ties_or_more():
    """0.05 to the power 1/10."""
    found = join_strength(np.linspace(90, 99, 10), [True] * 10)
    assert found.outlasting_share_low == pytest.approx(0.05**0.1, rel=1e-9)


def test_half_the_pulls_censored_leave_the_joins_mean_within_one_percent():
    random = np.random.default_rng(26)
    join = np.exp(random.normal(4.6, 0.07, (300, 12)))
    line = np.exp(random.normal(4.6, 0.03, (300, 12)))
    means = []
    for own, other in zip(join, line, strict=True):
        estimate = join_strength(np.minimum(own, other), other < own).estimate
        if estimate:
            means.append(estimate.mean_N)
    assert np.mean(means) / np.exp(4.6 + 0.07**2 / 2) == pytest.approx(1.0, abs=0.01)


def test_no_pull_at_all_is_refused():
    with pytest.raises(TooFewPulls, match="at least 1"):
        join_strength([], [])
