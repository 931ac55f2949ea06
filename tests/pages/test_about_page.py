"""The about page: each statistic explained, and one pool worked out in figures."""

import numpy as np
import pytest
import statsmodels.api as sm

from results.pages.reading.worked_example import (
    JOINED_KGF,
    STRAIGHT_KGF,
    worked_example,
)


def test_the_worked_example_is_on_the_page_in_figures(db, read):
    text, example = read("/about/").text, worked_example()
    assert f"{100 * example.efficiency.ratio:.1f}%" in text
    assert f"Pooled: {100 * example.pooled:.1f}%" in text
    low, high = example.prediction
    assert f"{100 * low:.1f} to {100 * high:.1f}%" in text
    for reading in (*JOINED_KGF, *STRAIGHT_KGF):
        assert f"{reading}" in text


def test_the_example_agrees_with_a_weighted_mean_where_no_scatter_is_left():
    """With all variance components at zero the pool is the weighted least squares mean."""
    example = worked_example()
    assert example.tau_tester == pytest.approx(0.0, abs=1e-6)
    n, m = np.array([5.0, 7.0, 7.0, 5.0]), np.array([6.0, 13.004, 14.0, 6.0])
    a, b = example.cv_join**2 / n, example.cv_straight**2 / m
    y = np.log([row.join_N / row.straight_N for row in example.rows]) + (a - b) / 2
    weighted = sm.WLS(y, np.ones(4), weights=1 / (a + b)).fit()
    assert np.log(example.pooled) == pytest.approx(weighted.params[0], abs=2e-4)


def test_the_page_of_cautions_says_what_hurts_and_what_the_figures_are_not_for(db, read):
    text = read("/cautions/").text
    for caution in ("Eye protection", "Gloves", "padded floor", "not for lifting", "licensed"):
        assert caution in text
