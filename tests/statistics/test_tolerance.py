"""Lower bounds for single pulls and shares against printed factors and a handbook's example."""

import numpy as np
import pytest
from scipy.stats import binom

from results.statistics.errors import NoScatter, TooFewPulls, TooFewTesters
from results.statistics.tolerance import (
    NotAProportion,
    nested_lower_bound,
    one_sided_factor,
    proportion_lower_bound,
    proportion_upper_bound,
)


@pytest.mark.parametrize("coverage", [0.90, 0.99])
def test_factors_are_those_of_the_composites_handbook(reference, coverage):
    table = reference("tolerance-factors")[f"coverage_{coverage:.2f}_confidence_0.95"]
    for n, printed in table.items():
        assert one_sided_factor(int(n), coverage, 0.95) == pytest.approx(printed, abs=2.1e-3)


def test_factors_are_those_of_common_tables(reference):
    for row in reference("outlier-and-consistency")["one_sided_tolerance_factor"]:
        found = one_sided_factor(row["n"], row["coverage"], row["confidence"])
        assert found == pytest.approx(row["k"], abs=6e-4)


@pytest.mark.parametrize("coverage", [0.90, 0.99])
def test_three_batches_give_the_handbooks_bound_for_a_new_one(reference, coverage):
    given = reference("lower-tolerance-bound-nested")
    found = nested_lower_bound(given["data"]["value"], given["data"]["batch"], coverage, 0.95)
    expected = given["expected"][f"coverage_{coverage:.2f}_confidence_0.95"]
    assert found.bound == pytest.approx(expected["bound"], rel=1e-9)
    assert found.mean_square_between == pytest.approx(expected["MSB"], rel=1e-9)
    assert found.mean_square_within == pytest.approx(expected["MSE"], rel=1e-9)
    assert found.n_prime == pytest.approx(expected["n_prime"])
    assert found.factor == pytest.approx(expected["T"], rel=1e-8)


def test_the_nested_bound_holds_at_least_as_often_as_promised():
    random = np.random.default_rng(83)
    tester = np.repeat(np.arange(5), 6)
    truth = 100.0 - 1.2815515655 * np.sqrt(3.0**2 + 4.0**2)
    below = []
    for _ in range(1500):
        values = 100.0 + random.normal(0, 3, 5)[tester] + random.normal(0, 4, 30)
        below.append(nested_lower_bound(values, tester, 0.90, 0.95).bound <= truth)
    assert np.mean(below) == pytest.approx(0.95, abs=0.025)


def test_the_bound_of_a_share_is_where_as_many_successes_are_just_possible():
    low = proportion_lower_bound(7, 12, 0.95)
    assert binom.sf(6, 12, low) == pytest.approx(0.05, rel=1e-9)
    assert proportion_upper_bound(7, 12, 0.95) == pytest.approx(
        1 - proportion_lower_bound(5, 12, 0.95)
    )
    assert proportion_lower_bound(0, 12, 0.95) == 0.0


def test_what_a_bound_needs_is_named():
    with pytest.raises(TooFewTesters, match="1 group: at least 2"):
        nested_lower_bound([1.0, 2.0], ["a", "a"], 0.9, 0.95)
    with pytest.raises(TooFewPulls, match="no group has two values"):
        nested_lower_bound([1.0, 2.0], ["a", "b"], 0.9, 0.95)
    with pytest.raises(NoScatter):
        nested_lower_bound([1.0] * 4, ["a", "a", "b", "b"], 0.9, 0.95)
    with pytest.raises(TooFewPulls):
        one_sided_factor(1, 0.9, 0.95)
    with pytest.raises(NotAProportion, match="coverage must lie between 0 and 1"):
        one_sided_factor(5, 1.0, 0.95)
    with pytest.raises(NotAProportion, match="13 of 12"):
        proportion_lower_bound(13, 12, 0.95)
