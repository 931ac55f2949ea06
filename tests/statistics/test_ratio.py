"""Log ratios of means against R's metafor and the formulae of Lajeunesse (2015)."""

import numpy as np
import pytest

from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewPulls
from results.statistics.ratio import (
    corrected_log_ratio,
    log_ratio,
    pooled_coefficient_of_variation,
    relative_variance,
)


def means_and_variances(data):
    parts = [
        relative_variance(np.array(data[f"sd{arm}"]) / data[f"mean{arm}"], data[f"n{arm}"])
        for arm in (1, 2)
    ]
    return (data["mean1"], data["mean2"], *parts)


@pytest.mark.parametrize(
    "name", ["ratio-of-means-length-of-stay", "ratio-of-means-shared-baseline"]
)
def test_plain_and_corrected_ratios_agree_with_the_published_formulae(pooling_reference, name):
    given = pooling_reference(name)
    expected, columns = given["expected"], means_and_variances(given["data"])
    plain, corrected = log_ratio(*columns), corrected_log_ratio(*columns)
    assert plain.y == pytest.approx(expected["log_ratio"], rel=1e-9)
    assert plain.own_variance + plain.shared_variance == pytest.approx(
        expected["variance"], rel=1e-9
    )
    assert corrected.y == pytest.approx(expected["log_ratio_small_sample"], rel=1e-9)
    assert corrected.own_variance + corrected.shared_variance == pytest.approx(
        expected["variance_small_sample"], rel=1e-9
    )


def test_the_shared_part_depends_on_the_baseline_alone():
    weak = corrected_log_ratio([80, 40], 100, [0.01, 0.3], 0.002)
    assert weak.shared_variance[0] == weak.shared_variance[1] == pytest.approx(0.002002)


def test_the_corrected_ratio_has_less_bias_and_the_variance_it_says():
    rng = np.random.default_rng(3)
    pulls, cv = 4, 0.25
    join = rng.normal(80, 80 * cv, (200_000, pulls)).mean(axis=1)
    line = rng.normal(100, 100 * 0.1, (200_000, pulls)).mean(axis=1)
    parts = relative_variance(cv, pulls), relative_variance(0.1, pulls)
    corrected = corrected_log_ratio(join, line, *parts)
    truth = np.log(0.8)
    bias_of_plain = np.log(join / line).mean() - truth
    assert abs(corrected.y.mean() - truth) < abs(bias_of_plain) / 5
    said = corrected.own_variance[0] + corrected.shared_variance[0]
    assert said == pytest.approx(np.log(join / line).var(), rel=0.03)


def test_scatter_is_pooled_by_degrees_of_freedom_and_a_single_pull_counts_for_none():
    pooled = pooled_coefficient_of_variation([0.04, 0.08, np.nan], [6, 2, 0])
    assert pooled == pytest.approx(np.sqrt((6 * 0.04**2 + 2 * 0.08**2) / 8))


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: log_ratio(0, 100, 0.01, 0.01), NotPositive),
        (lambda: log_ratio(np.nan, 100, 0.01, 0.01), NotFinite),
        (lambda: log_ratio([80, 90], [100, 90, 80], 0.01, 0.01), ShapeMismatch),
        (lambda: relative_variance(0.05, 0), NotPositive),
        (lambda: pooled_coefficient_of_variation([0.1], [0]), TooFewPulls),
        (lambda: pooled_coefficient_of_variation([0.0], [4]), NotPositive),
        (lambda: pooled_coefficient_of_variation([0.1, 0.2], [4]), ShapeMismatch),
    ],
)
def test_means_and_scatters_that_cannot_be_are_refused(call, error):
    with pytest.raises(error):
        call()
