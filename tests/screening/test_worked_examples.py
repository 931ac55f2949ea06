"""Each check against a worked example from outside; tests/data/screening names the sources."""

import numpy as np
import pytest

from results.statistics.errors import NotFinite
from results.statistics.screening.digits import digit_chi_square, terminal_digits
from results.statistics.screening.judging import adjusted
from results.statistics.screening.order import mann_kendall, von_neumann
from results.statistics.screening.repeats import (
    expected_pairs,
    longest_aligned_run,
    longest_common_run,
    repeated_values,
)
from results.statistics.screening.scatter import few_steps_of_the_scale, too_little_scatter
from results.statistics.screening.straight_line import nearest_mix_up


def test_a_trend_is_found_as_in_the_guidance_on_sulfate(worked):
    example = worked["mann_kendall"]
    s, p = mann_kendall(example["y"])
    assert s == example["computed"]["S"]
    assert p == pytest.approx(example["computed"]["p"], rel=1e-9)


def test_few_pulls_without_ties_have_the_exact_distribution_of_orders(worked):
    exact = worked["mann_kendall"]["small_n"]
    s, p = mann_kendall([10, 15, 14, 20])
    assert s == exact["S"]
    assert p == pytest.approx(2 * exact["exact_one_sided_P"], rel=1e-9)


def test_neighbours_that_are_alike_show_in_the_mean_successive_difference(worked):
    example = worked["mean_successive_difference"]
    ratio, z = von_neumann(example["y"])
    assert ratio == pytest.approx(example["computed"]["ratio_delta2_to_s2"], rel=1e-9)
    assert z == pytest.approx(example["computed"]["z"], rel=1e-9)


def test_last_digits_of_a_retracted_study_are_not_spread_by_chance(worked):
    example = worked["terminal_digits"]["computed_example"]
    statistic, p = digit_chi_square(example["counts_0_to_9"])
    assert statistic == pytest.approx(example["chi_square"], abs=0.05)
    assert p == pytest.approx(example["p"], rel=1e-2)
    readings = np.repeat(np.arange(10), example["counts_0_to_9"])
    check = terminal_digits("the session", readings, scatter_steps=20)
    assert check.p < 1e-4
    assert "230 of 1600 readings end in the digit 8" in check.sentence
    assert "of 2, 4, 6, 8, which rounding treats alike" in check.sentence


def test_digits_are_not_judged_where_readings_span_only_few_steps_of_the_scale(worked):
    wrong = worked["terminal_digits"]["when_uniform_is_wrong"]
    amplitude = dict(zip(wrong["s_steps"], wrong["amplitude"], strict=True))
    assert amplitude[4] > 0.05 > amplitude[5]
    assert terminal_digits("the session", np.arange(100), scatter_steps=4.9) is None
    assert terminal_digits("the session", np.arange(29), scatter_steps=20) is None


def test_the_expected_number_of_equal_pairs_is_that_of_the_formula(worked):
    example = worked["repeated_values"]["constructed"]
    steps = example["s"] / example["d"] * np.array([-1.0, 1.0] * 5) * (9 / 10) ** 0.5
    mean, variance = expected_pairs(steps)
    assert mean == pytest.approx(example["expected_pairs"], rel=2e-3)
    assert variance == pytest.approx(mean, rel=0.15)


def test_many_p_values_are_adjusted_as_in_the_example_of_benjamini_and_hochberg(worked):
    example = worked["false_discovery_rate"]
    found = adjusted(example["p"])
    assert found == pytest.approx(example["adjusted"], abs=1e-9)
    assert (found <= example["q"]).sum() == example["rejected_BH"]


def test_a_p_value_outside_zero_to_one_is_refused():
    with pytest.raises(NotFinite, match="from 0 to 1"):
        adjusted([0.2, float("nan")])


def test_four_sets_of_almost_no_scatter_are_as_unlikely_as_computed(worked):
    example = worked["too_little_scatter"]["computed_example"]
    sets = example["sets"]
    check = too_little_scatter(
        "the session",
        [example["cv_percent"] / 100] * sets,
        [example["n"] - 1] * sets,
        [example["cv_pool_percent"] / 100] * sets,
        [0.0] * sets,
        least_share=1.0,
    )
    assert check.p == pytest.approx(example["p_lower"], rel=1e-9)


def test_a_coarse_scale_explains_readings_that_are_all_the_same():
    same = too_little_scatter("set 1", [0.0], [9], [0.06], relative_resolution=[0.10])
    fine = too_little_scatter("set 1", [0.0], [9], [0.06], relative_resolution=[0.001])
    assert same.p > 0.05
    assert fine.p < 1e-9
    assert repeated_values("set 1", [np.full(10, 14)]).p > 0.01


@pytest.mark.parametrize(
    ("factor", "expected"),
    [
        (4.4482216152605, "newtons entered as pounds-force"),
        (1 / 9.80665, "kilograms-force entered as newtons"),
        (2.20462262, "pounds-force entered as kilograms-force"),
    ],
)
def test_a_factor_of_two_units_names_the_mistake_that_would_explain_it(factor, expected):
    """The pound of 1959 is 0.45359237 kg, standard gravity 9.80665 m/s2 (CGPM 1901)."""
    near = nearest_mix_up(factor * 1.03)
    assert near.explanation == expected
    assert near.distance == pytest.approx(np.log(1.03), rel=1e-6)


def test_a_run_is_found_wherever_it_stands_and_aligned_only_where_it_begins_alike():
    first, second = [1, 2, 3, 4, 9, 9], [7, 1, 2, 3, 4, 8]
    assert longest_common_run(first, second) == 4
    assert longest_aligned_run(first, second) == 0
    assert longest_aligned_run(first, first) == 6


def coarse_sets(rng, scatter, sets=7, pulls=8):
    """Readings in whole steps of a scale that shows a load as ten to twenty of them."""
    return [
        np.rint(mean * (1 + scatter * rng.standard_normal(pulls)))
        for mean in rng.uniform(10, 20, sets)
    ]


def test_invented_readings_on_a_coarse_scale_span_too_few_of_its_steps():
    rng = np.random.default_rng(8)
    found = [
        few_steps_of_the_scale("the session", coarse_sets(rng, 0.008), [0.06] * 7).p
        for _ in range(20)
    ]
    assert np.mean(np.array(found) <= 0.001) >= 0.8


def test_even_a_practised_tyer_on_a_coarse_scale_is_as_rarely_suspected_as_the_check_says():
    rng = np.random.default_rng(9)
    found = [
        few_steps_of_the_scale("the session", coarse_sets(rng, 0.03), [0.06] * 7).p
        for _ in range(200)
    ]
    assert np.mean(np.array(found) <= 0.05) <= 0.09
    assert min(found) > 0.001


def test_a_scale_that_is_fine_enough_is_left_to_the_scatter_itself():
    rng = np.random.default_rng(10)
    fine = [np.rint(1000 * (1 + 0.06 * rng.standard_normal(8)))]
    assert few_steps_of_the_scale("the session", fine, [0.06]) is None


def test_runs_and_trends_of_nineteen_thousand_pulls_need_no_table_of_all_pairs():
    rng = np.random.default_rng(3)
    steps = rng.integers(100, 200, 19_000)
    copied = np.concatenate((rng.integers(100, 200, 500), steps[2_000:2_900]))
    assert longest_common_run(steps.tolist(), copied.tolist()) == 900
    assert mann_kendall(np.arange(19_000.0))[0] == 19_000 * 18_999 // 2
