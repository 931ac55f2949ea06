"""Algorithms A and S against the worked examples of ISO 13528."""

import numpy as np
import pytest

from results.statistics.errors import NoScatter, TooFewPulls
from results.statistics.robust import algorithm_a, algorithm_s, limit_and_adjustment_factor


@pytest.fixture
def given(reference):
    return reference("robust-location-and-scale")


@pytest.mark.parametrize("treatment", ["limit_ignored", "below_limit_deleted", "half_of_limit"])
def test_algorithm_a_settles_where_the_standards_example_does(given, treatment):
    found = algorithm_a(given["data"][f"E1_{treatment}"])
    expected = given["expected_converged"][f"E1_{treatment}"]
    assert found.mean == pytest.approx(expected["x_star"], rel=1e-11)
    assert found.sd == pytest.approx(expected["s_star"], rel=1e-11)
    printed = given["expected_printed"][f"E1_{treatment}"]
    assert found.mean == pytest.approx(printed["x_star"], abs=0.011)


def test_antibody_means_and_scatters_agree_with_the_standards_example(given):
    expected = given["expected_converged"]["E13"]
    means = algorithm_a(given["data"]["E13_means"])
    assert means.mean == pytest.approx(expected["x_star_of_means"], rel=1e-10)
    assert means.sd == pytest.approx(expected["s_star_of_means"], rel=1e-10)
    assert means.standard_uncertainty == pytest.approx(1.25 * means.sd / 5)
    pooled = algorithm_s(given["data"]["E13_sds"], given["data"]["E13_nu"])
    assert pooled == pytest.approx(expected["w_star_of_sds"], rel=1e-10)


def test_the_factors_of_algorithm_s_are_those_of_the_table(given):
    for nu, printed in enumerate(given["eta_xi"]["values"], start=1):
        assert limit_and_adjustment_factor(nu) == pytest.approx(printed, abs=6e-4)


def test_one_wild_value_hardly_moves_the_robust_mean():
    honest = [80.1, 79.5, 81.0, 80.4, 79.9, 80.6]
    calm = algorithm_a([*honest, 80.2])
    wild = algorithm_a([*honest, 356.0])
    assert wild.mean == pytest.approx(calm.mean, abs=calm.sd)


def test_values_half_of_which_are_equal_start_from_their_plain_scatter():
    """The two equations that the algorithm solves hold, wherever it started."""
    values = np.array([78.0, 80.0, 80.0, 80.0, 80.0, 81.0, 83.0])
    found = algorithm_a(values)
    clipped = np.clip(values, found.mean - 1.5 * found.sd, found.mean + 1.5 * found.sd)
    assert clipped.mean() == pytest.approx(found.mean, rel=1e-12)
    assert 1.134 * clipped.std(ddof=1) == pytest.approx(found.sd, rel=1e-9)
    assert 0.5 < found.sd < 1.134 * values.std(ddof=1)


@pytest.mark.parametrize("values", [[5.0] * 4, [5.0] * 6 + [9.0], [0.0] * 8 + [1.0]])
def test_values_nearly_all_of_which_are_equal_are_refused(values):
    with pytest.raises(NoScatter, match="all values but a few are the same"):
        algorithm_a(values)


def test_scatters_half_of_which_are_zero_are_refused():
    with pytest.raises(NoScatter):
        algorithm_s([0.0, 0.0, 0.0, 1.0], 4)
    with pytest.raises(TooFewPulls):
        algorithm_a([5.0])
