"""What one trace says: peak, pace, slips, zero, and how much of the peak sampling missed."""

from contextlib import suppress
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rigs.metrology.errors import ClockRunsBack, MetrologyError, TooFewSamples
from rigs.metrology.traces.missed import missed_peak
from rigs.metrology.traces.pull import describe
from tests.metrology.drawn import clock, ramp, through


def test_peak_pace_and_time_to_break_of_a_straight_rise():
    forces = ramp(90, rate=10)
    figures = describe(clock(forces), forces)
    assert figures.peak_N == pytest.approx(90, abs=0.11)
    assert figures.loading_rate_N_per_s == pytest.approx(10, rel=1e-6)
    assert figures.time_to_break_s == pytest.approx(9, abs=0.2)
    assert figures.slips == ()
    assert figures.stiffening == pytest.approx(1, abs=1e-6)


# JCGM 100:2008 (GUM) 4.3.7: what is anywhere in (0, r d) is r d / 2 on average, u = r d / sqrt(12).
def test_half_an_interval_of_the_rise_is_missed_on_average():
    forces = ramp(90, rate=10, hertz=5)
    figures = describe(clock(forces, 5), forces)
    assert figures.missed_peak_N == pytest.approx(10 / 5 / 2, rel=0.05)
    assert figures.u_missed_peak_N == pytest.approx(10 / 5 / sqrt(12), rel=0.05)


def test_a_sample_lost_at_the_break_widens_what_is_missed():
    forces = ramp(90, rate=10, hertz=5)
    peak = int(np.argmax(forces))
    kept = np.delete(np.arange(forces.size), [peak])
    figures = describe(clock(forces, 5)[kept], forces[kept])
    assert figures.missed_peak_N == pytest.approx(10 * 2 / 5 / 2, rel=0.05)


def test_a_pull_that_is_let_down_slowly_has_no_sharp_peak_to_miss():
    figures = describe(*through((0, 0), (3, 0), (12, 90), (21, 0), (24, 0), hertz=5))
    assert figures.missed_peak_N == pytest.approx(10 / 5 / 2 / 2, rel=0.05)


def test_zero_before_and_after_give_the_zero_error_of_the_pull():
    times, forces = through((0, 0.4), (3, 0.4), (12, 90), (12.02, 1.0), (16, 1.0))
    figures = describe(times, forces)
    assert (figures.zero_before_N, figures.zero_after_N) == pytest.approx((0.4, 1.0))
    assert figures.zero_error_N == pytest.approx(0.7)
    assert figures.u_zero_N == pytest.approx(0.6 / sqrt(12), rel=1e-4)
    seen = figures.peak_N + figures.missed_peak_N - figures.noise_excess_N
    assert figures.load_N == pytest.approx(seen - 0.7)


def test_a_logger_that_starts_and_stops_by_force_leaves_no_zero():
    times, forces = through((0, 5), (8.5, 90))
    figures = describe(times, forces)
    assert figures.zero_before_N is None
    assert figures.zero_error_N is None
    assert figures.peak_N == pytest.approx(90, abs=0.11)


def test_slips_are_falls_with_a_higher_peak_after_them():
    corners = [(0, 0), (3, 0), (7, 40), (7.1, 25), (10, 55), (10.1, 50), (14, 90), (14.02, 60)]
    figures = describe(*through(*corners, (15, 65), (15.02, 0), (18, 0)))
    assert [(slip.from_N, slip.to_N) for slip in figures.slips] == [
        pytest.approx((40, 25), abs=0.3),
        pytest.approx((55, 50), abs=0.3),
    ]
    assert figures.slips[0].time_s == pytest.approx(7, abs=0.02)
    assert figures.stiffening is None


def test_a_hold_on_the_way_up_shows_creep():
    corners = [(0, 0), (3, 0), (9, 60), (14, 58), (17, 90), (17.02, 0), (20, 0)]
    hold = describe(*through(*corners)).hold
    assert hold.seconds == pytest.approx(5, abs=0.7)
    assert hold.creep_N_per_s == pytest.approx(0.4, abs=0.1)


def test_a_line_that_grows_stiffer_is_said_to():
    corners = [(0, 0), (3, 0), (8, 40), (12, 90), (12.02, 0), (15, 0)]
    assert describe(*through(*corners)).stiffening > 1.3


# Mean and deviation of the highest sample by drawing ramps: seeds fixed, 20 000 of each.
@pytest.mark.parametrize("noise", [0.05, 0.3, 1.0, 3.0])
def test_what_noise_adds_to_the_highest_sample_agrees_with_drawn_ramps(noise):
    rng = np.random.default_rng(19)
    back = np.arange(80)[None, :] + rng.uniform(0, 1, (20_000, 1))
    highest = (rng.normal(0, noise, back.shape) - back).max(axis=1)
    found = missed_peak(1.0, np.inf, 1.0, noise)
    assert highest.mean() == pytest.approx(found.excess_N - found.missed_N, abs=0.02)
    expected_sd = sqrt(found.u_missed_N**2 + found.u_noise_N**2)
    assert highest.std() == pytest.approx(expected_sd, rel=0.08)


def test_a_clock_that_runs_back_and_three_samples_are_named():
    with pytest.raises(ClockRunsBack):
        describe([0, 1, 0.5, 2], [0, 5, 9, 0])
    with pytest.raises(TooFewSamples):
        describe([0, 1, 2], [0, 5, 0])


TINY = [0.0, 1e-300, -1e-300, 1.9e-306, 1e-200, 1e-12]
numbers = st.floats(-1e12, 1e12) | st.sampled_from([*TINY, 1e9, float("inf")])


@pytest.mark.parametrize("apart", TINY[1:])
@pytest.mark.parametrize("later", [0.0, 5.0])
def test_a_clock_that_hardly_moves_makes_no_rate_infinite(apart, later):
    """Times from a file may be as near each other as numbers can be."""
    times = np.sort([0.0, 0.0, apart, apart, later + apart])
    with suppress(MetrologyError):
        figures = describe(times, [0.0, 0.0, 170.0, 341.0, 0.0])
        assert all(
            np.isfinite(value) for value in vars(figures).values() if isinstance(value, float)
        )


@settings(max_examples=300, deadline=None)
@given(st.data(), st.integers(0, 60))
def test_any_samples_end_in_finite_figures_or_a_named_error(data, size):
    times = np.sort(data.draw(arrays(float, size, elements=numbers)))
    forces = data.draw(arrays(float, size, elements=numbers))
    try:
        figures = describe(times, forces)
    except MetrologyError:
        return
    told = [figures.load_N, figures.u_load_N, *vars(figures).values()]
    assert all(np.isfinite(value) for value in told if isinstance(value, float))
