"""What is usual among testers: one of them can't move it."""

import numpy as np
import pytest

from results.statistics.errors import TooFewPulls
from results.statistics.screening.usual import (
    by_tester,
    median_deviation_sd,
    usual_among,
    usual_cv,
)


def test_one_tester_of_four_with_random_sets_leaves_the_usual_scatter_where_it_is():
    cv, freedom, tester = [0.06, 0.05, 0.07], [9.0, 9.0, 9.0], [1, 2, 3]
    alone = usual_cv(cv, freedom, tester)
    assert usual_cv([*cv, 0.9], [*freedom, 9.0], [*tester, 4]) == alone == 0.06


def test_one_tester_of_four_far_off_moves_what_is_expected_by_less_than_their_scatter():
    honest = usual_among([-0.20, -0.22, -0.19])
    for wild in (-3.0, 3.0):
        found = usual_among([-0.20, -0.22, -0.19, wild])
        assert abs(found.centre - honest.centre) < 0.03
        assert found.sd < 1.2 * honest.sd


def test_of_two_testers_the_steadier_says_what_is_usual():
    assert usual_cv([0.9, 0.05], [9.0, 4.0], [7, 3]) == pytest.approx(0.05)


def test_the_sets_of_one_tester_count_as_one():
    pooled = usual_cv([0.03, 0.05, 0.2], [10.0, 10.0, 5.0], [1, 1, 2])
    assert pooled == pytest.approx(((0.03**2 + 0.05**2) / 2) ** 0.5)
    assert by_tester([0.1, 0.3, 0.8], [1, 1, 2]).tolist() == pytest.approx([0.2, 0.8])


@pytest.mark.parametrize("k", [3, 4, 5, 8, 15])
def test_the_median_deviation_of_few_values_is_right_in_the_mean(k):
    """Croux & Rousseeuw (1992): their factors make it so; 4000 draws, within 4 percent."""
    drawn = np.random.default_rng(k).standard_normal((4000, k))
    assert np.mean([median_deviation_sd(row) for row in drawn]) == pytest.approx(1, rel=0.04)


@pytest.mark.parametrize("k", [3, 5, 9])
def test_an_honest_newcomer_lies_outside_as_often_as_the_quantiles_say(k):
    """Testers scatter by 0.05 to 0.1; 4000 pools at 1 percent each side."""
    from scipy.stats import t as student  # noqa: PLC0415

    rng = np.random.default_rng(k)
    beyond = 0
    for _ in range(4000):
        values = rng.uniform(0.05, 0.1) * rng.standard_normal(k + 1)
        usual = usual_among(values[1:])
        beyond += student.sf((values[0] - usual.centre) / usual.sd, usual.degrees_of_freedom) < 0.01
    assert beyond / 4000 < 0.02


def test_one_tester_alone_says_nothing_of_the_scatter():
    with pytest.raises(TooFewPulls):
        median_deviation_sd([0.2])
