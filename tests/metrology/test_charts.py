"""Charts of a rig's straight line signal when it has moved."""

import numpy as np
import pytest

from rigs.metrology.charts import (
    D2_OF_TWO,
    cusum_chart,
    ewma_chart,
    individuals_chart,
    moving_range_sd,
)
from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues


def test_the_mean_range_of_two_is_the_tabled_constant(reference):
    printed = reference("control-charts")["constants"]["2"]["d2"]  # NIST/SEMATECH 6.3.2
    assert pytest.approx(printed, abs=5e-4) == D2_OF_TWO


def test_the_moving_average_follows_the_worked_example_and_stays_inside(reference):
    worked = reference("control-charts")["ewma"]  # NIST/SEMATECH 6.3.2.4
    chart = ewma_chart(
        worked["data"], worked["target"], worked["sd"], worked["lambda"], worked["L"]
    )
    assert chart.plotted == pytest.approx(worked["ewma_rounded"], abs=0.0051)
    assert [chart.lower_limit[-1], chart.upper_limit[-1]] == pytest.approx(
        worked["limits_computed"], abs=5e-6
    )
    assert chart.signals == ()


# Limits of the first point: target -+ L lambda sd, by the exact formula (NIST/SEMATECH 6.3.2.4).
def test_the_first_limits_of_the_moving_average_are_the_narrow_exact_ones(reference):
    worked = reference("control-charts")["ewma"]
    chart = ewma_chart(
        worked["data"], worked["target"], worked["sd"], worked["lambda"], worked["L"]
    )
    assert chart.upper_limit[0] == pytest.approx(50 + 3 * 0.3 * 2.0539, rel=1e-12)


def test_the_cumulated_sums_signal_where_the_worked_example_says(reference):
    worked = reference("control-charts")["cusum"]  # NIST/SEMATECH 6.3.2.3
    chart = cusum_chart(worked["data"], worked["target"], worked["k"], worked["h"])
    expected = np.array(worked["high_and_low_sums"])
    assert chart.high == pytest.approx(expected[:, 0], abs=1e-9)
    assert chart.low == pytest.approx(expected[:, 1], abs=1e-9)
    assert chart.signals[0] == 13


def test_a_single_value_far_off_signals_and_its_neighbours_do_not():
    values = np.array([92.0, 93.0, 91.0, 92.5, 80.0, 92.0])
    sd = moving_range_sd(values[:4])
    assert sd == pytest.approx(np.mean([1, 2, 1.5]) * np.pi**0.5 / 2)
    chart = individuals_chart(values, 92.0, sd)
    assert chart.signals == (4,)
    assert individuals_chart(values, 92.0, np.full(6, 5.0)).signals == ()


def test_a_chart_in_control_signals_about_three_times_in_a_thousand():
    values = np.random.default_rng(3).normal(size=20_000)
    assert len(individuals_chart(values, 0.0, 1.0).signals) == pytest.approx(54, abs=22)
    assert moving_range_sd(values) == pytest.approx(1, abs=0.02)


def test_what_cannot_be_charted_is_refused():
    with pytest.raises(TooFewValues):
        moving_range_sd([92.0])
    with pytest.raises(TooFewValues):
        individuals_chart([], 92.0, 1.0)
    with pytest.raises(NotFinite):
        cusum_chart([92.0, float("nan")], 92.0, 0.5, 4.0)
    with pytest.raises(NotPositive):
        ewma_chart([92.0], 92.0, 0.0)
    with pytest.raises(NotPositive, match="weight: found 0"):
        ewma_chart([92.0], 92.0, 1.0, weight=0)
