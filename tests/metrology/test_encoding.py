"""Traces are kept small, and come back to the digit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rigs.metrology.errors import MetrologyError, NotATrace, NotPositive
from rigs.metrology.traces.encoding import decode, encode
from tests.metrology.drawn import clock, ramp


def logged(hertz, noise_steps, step=0.05, clock_step=0.001, seed=5):
    """One pull as a logger prints it: noise, step of force, step and jitter of the clock."""
    rng = np.random.default_rng(seed)
    forces = ramp(90, rate=4.5, hertz=hertz)
    times = clock(forces, hertz) + rng.uniform(-3, 3, forces.size) * clock_step
    counts = np.rint(forces / step + rng.normal(0, noise_steps, forces.size))
    decimals = round(-np.log10(clock_step))
    return np.round(times, decimals), np.round(counts * step, 9) + 0.0


@pytest.mark.parametrize("hertz", [5, 10, 80, 1000])
@pytest.mark.parametrize("noise_steps", [0, 1, 10, 60])
def test_a_sample_takes_at_most_two_bytes(hertz, noise_steps):
    times, forces = logged(hertz, noise_steps, clock_step=1e-6 if hertz == 1000 else 1e-3)
    encoded = encode(times, forces, 0.05)
    head = 50
    assert len(encoded) - head <= 2 * times.size


@pytest.mark.parametrize("step", [0.05, 0.1, 0.002, 2.0, 0.0444822])
def test_times_and_forces_come_back_as_they_were_written(step):
    times, forces = logged(80, 3, step=step)
    found_times, found_forces = decode(encode(times, forces, step))
    assert found_times.tolist() == times.tolist()
    assert found_forces == pytest.approx(forces, rel=1e-12, abs=1e-12)
    written = [f"{force:.6g}" for force in forces]
    assert [f"{force:.6g}" for force in found_forces] == written


def test_a_decimal_step_comes_back_to_the_last_bit():
    times, forces = logged(80, 3, step=0.05)
    assert decode(encode(times, forces, 0.05))[1].tolist() == forces.tolist()


def test_a_step_of_nothing_is_refused():
    with pytest.raises(NotPositive):
        encode([0.0], [1.0], 0.0)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200), st.integers(0, 400), st.integers(0, 255))
def test_bytes_that_are_no_trace_are_refused(noise, at, value):
    with pytest.raises(NotATrace):
        decode(noise)
    sound = bytearray(encode(*logged(5, 1), 0.05))
    sound[at % len(sound)] = value
    try:
        times, forces = decode(bytes(sound))
    except NotATrace:
        return
    assert times.size == forces.size


def test_the_microseconds_of_a_clock_that_counts_since_1970_come_back():
    times = 1_758_312_348 + np.arange(1, 60) * 0.012_507
    written = [f"{time:.6f}" for time in times]
    found, _ = decode(encode([float(time) for time in written], np.arange(59.0), 1.0))
    assert [f"{time:.6f}" for time in found] == written


numbers = st.floats(-1e12, 1e12) | st.sampled_from([0.0, 1e-300, 0.1, 1e9])


@settings(max_examples=200, deadline=None)
@given(st.data(), st.integers(1, 40), st.sampled_from([1e-9, 0.001, 0.05, 1 / 3, 7.0]))
def test_any_samples_come_back_within_half_a_step_or_are_refused(data, size, step):
    times = data.draw(arrays(float, size, elements=numbers))
    forces = data.draw(arrays(float, size, elements=numbers))
    try:
        found_times, found_forces = decode(encode(times, forces, step))
    except MetrologyError:
        return
    for found, drawn, half in ((found_times, times, 0.5e-6), (found_forces, forces, step / 2)):
        # A float's own spacing is what rounding on the way adds.
        assert np.abs(found - drawn).max() <= half + 2 * np.spacing(np.abs(drawn).max())
