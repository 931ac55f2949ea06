"""Efficiency of a set: Fieller's interval, its open cases, the offset and the set's own CV."""

import numpy as np
import pytest
from scipy.stats import ttest_ind_from_stats

from results.statistics.censored import strength
from results.statistics.efficiency import (
    coefficient_of_variation_interval,
    efficiency,
    fieller,
    fieller_unequal,
)
from results.statistics.errors import NotPositive


@pytest.fixture
def two_samples(reference):
    given = reference("ratio-of-two-means-fieller")
    joined, straight = (np.array(given["data"][name]) for name in ("numerator", "denominator"))
    return joined, straight, given["expected"]


def test_fieller_with_one_pooled_variance_agrees_with_the_published_example(two_samples):
    joined, straight, expected = two_samples
    squares = 14 * joined.var(ddof=1) + 18 * straight.var(ddof=1)
    found = fieller(
        joined.mean(), squares / 32 / 15, straight.mean(), squares / 32 / 19, degrees_of_freedom=32
    )
    wanted = expected["equal_variances"]
    assert found.ratio == pytest.approx(wanted["ratio"], rel=1e-11)
    assert (found.low, found.high) == pytest.approx((wanted["lower"], wanted["upper"]), rel=1e-11)
    assert found.g == pytest.approx(wanted["g"], rel=1e-11)


def test_fieller_with_unequal_variances_at_given_freedom_agrees_with_the_published_example(
    two_samples,
):
    joined, straight, expected = two_samples
    wanted = expected["unequal_variances"]
    found = fieller(
        joined.mean(),
        joined.var(ddof=1) / 15,
        straight.mean(),
        straight.var(ddof=1) / 19,
        degrees_of_freedom=wanted["df"],
    )
    assert (found.low, found.high) == pytest.approx((wanted["lower"], wanted["upper"]), rel=1e-10)


def test_at_both_limits_welchs_test_of_that_ratio_has_a_probability_of_five_percent(two_samples):
    joined, straight, _ = two_samples
    found = efficiency(strength(joined, joined < 0), strength(straight, straight < 0))
    for ratio in (found.fieller_low, found.fieller_high):
        welch = ttest_ind_from_stats(
            joined.mean(),
            joined.std(ddof=1),
            15,
            ratio * straight.mean(),
            ratio * straight.std(ddof=1),
            19,
            equal_var=False,
        )
        assert welch.pvalue == pytest.approx(0.05, abs=1e-9)


def test_the_log_ratio_and_its_variance_carry_the_small_sample_correction(two_samples):
    joined, straight, expected = two_samples
    found = efficiency(strength(joined, joined < 0), strength(straight, straight < 0))
    wanted = expected["log_ratio"]
    assert found.log_ratio == pytest.approx(wanted["lnR_delta"], rel=1e-11)
    total = found.own_variance + found.shared_variance
    assert total == pytest.approx(wanted["variance_delta"], rel=1e-11)


def test_a_baseline_too_uncertain_to_divide_by_gives_no_interval_but_says_so():
    """The reference's constructed case: g = 1.145, straight line 1.0 with sd 1.2, four pulls."""
    pooled = (0.3**2 + 1.2**2) / 2 / 4
    found = fieller(0.8, pooled, 1.0, pooled, degrees_of_freedom=6)
    assert found.g == pytest.approx(1.14508596739, rel=1e-11)
    assert (found.low, found.high) == (None, None)
    assert "no finite interval" in found.open_because
    own = fieller_unequal(
        0.8, 0.3**2 / 4, 1.0, 1.2**2 / 4, numerator_freedom=3, denominator_freedom=3
    )
    assert (own.low, own.high) == (None, None)


def test_a_join_too_uncertain_has_an_upper_end_and_no_lower_one():
    found = fieller_unequal(
        20.0, 12.0**2, 100.0, 2.0**2, numerator_freedom=3, denominator_freedom=7
    )
    assert found.low is None
    assert "no lower end above zero" in found.open_because
    assert found.high > 0.5


def test_fiellers_interval_covers_the_true_efficiency_19_times_in_20():
    random = np.random.default_rng(31)
    joined = random.normal(80.0, 6.0, (2000, 5))
    straight = random.normal(100.0, 3.0, (2000, 5))
    hits = [
        found.fieller_low <= 0.8 <= found.fieller_high
        for j, s in zip(joined, straight, strict=True)
        for found in [efficiency(strength(j, j < 0), strength(s, s < 0))]
    ]
    assert np.mean(hits) == pytest.approx(0.95, abs=0.017)


def test_a_scales_offset_moves_the_ratio_by_what_is_said():
    joined, straight = np.array([78.0, 80.0, 83.0]), np.array([99.0, 100.0, 102.0])
    none = [False] * 3
    found = efficiency(strength(joined, none), strength(straight, none), u_offset_N=3.0)
    shifted = efficiency(strength(joined + 0.001, none), strength(straight + 0.001, none))
    slope = (np.log(shifted.ratio) - np.log(found.ratio)) / 0.001
    assert found.offset_per_N == pytest.approx(slope, rel=0.01)
    assert found.offset_log_uncertainty == pytest.approx(3.0 * abs(found.offset_per_N))


def test_grip_breaks_censored_on_both_sides_leave_the_efficiency_unbiased():
    random = np.random.default_rng(12)
    ratios = []
    for _ in range(400):
        joined = 80.0 * np.exp(random.normal(0, 0.06, 10))
        straight = 100.0 * np.exp(random.normal(0, 0.04, 10))
        grip = 101.0 * np.exp(random.normal(0, 0.04, (2, 10)))
        if (grip[1] >= straight).sum() < 3:
            continue
        found = efficiency(
            strength(np.minimum(joined, grip[0]), grip[0] < joined),
            strength(np.minimum(straight, grip[1]), grip[1] < straight),
        )
        ratios.append(found.ratio)
    truth = 0.8 * np.exp((0.06**2 - 0.04**2) / 2)
    assert np.mean(ratios) / truth == pytest.approx(1.0, abs=0.004)


def test_the_interval_of_a_cv_covers_19_times_in_20():
    random = np.random.default_rng(96)
    sets = random.normal(100.0, 8.0, (4000, 5))
    cvs = sets.std(axis=1, ddof=1) / sets.mean(axis=1)
    limits = [coefficient_of_variation_interval(cv, 4) for cv in cvs]
    assert np.mean([low <= 0.08 <= high for low, high in limits]) == pytest.approx(0.95, abs=0.011)


def test_a_variance_of_zero_is_refused():
    with pytest.raises(NotPositive, match="must be above zero"):
        fieller(0.8, 0.0, 1.0, 0.1, degrees_of_freedom=4)
