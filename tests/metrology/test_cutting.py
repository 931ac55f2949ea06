"""A recording is cut into its pulls, and what is wrong with it is found."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from deploy.demo.recorder import Logger, record, session
from rigs.metrology.errors import MetrologyError, TooFewSamples
from rigs.metrology.traces.cutting import cut
from rigs.metrology.traces.faults import FaultCode
from tests.metrology.drawn import clock, ramp, through


def codes(found):
    return [fault.code for fault in found.faults]


def test_each_pull_is_found_with_its_peak_and_the_zero_at_both_sides():
    forces = np.concatenate([ramp(peak) for peak in (60, 92, 75)])
    found = cut(clock(forces), forces)
    assert [forces[part.peak] for part in found.pulls] == pytest.approx([60, 92, 75], abs=0.11)
    assert all(forces[part.first] == 0 == forces[part.last - 1] for part in found.pulls)
    assert found.faults == ()


def test_a_zero_that_drifts_over_the_session_makes_and_hides_no_pull():
    forces = np.concatenate([ramp(60)] * 12)
    drifted = forces + np.linspace(0, 8, forces.size)
    assert len(cut(clock(drifted), drifted).pulls) == 12


def test_a_join_that_slips_is_one_pull():
    times, forces = through((0, 0), (3, 0), (7, 40), (7.1, 12), (15, 92), (15.02, 0), (18, 0))
    assert len(cut(times, forces).pulls) == 1


def test_a_load_cell_that_swings_after_the_break_makes_no_pull_of_it():
    forces = ramp(90)
    broke = int(np.argmax(forces)) + 1
    after = np.arange(forces.size - broke) / 100
    forces[broke:] += 40 * np.exp(-after / 0.08) * np.sin(2 * np.pi * 15 * after)
    assert len(cut(clock(forces), forces).pulls) == 1


def test_handling_the_line_is_left_out_and_can_be_claimed():
    forces = np.concatenate([ramp(90), ramp(4), ramp(85)])
    found = cut(clock(forces), forces)
    assert len(found.pulls) == 2
    assert [forces[part.peak] for part in found.left_out] == pytest.approx([4], abs=0.11)


def test_a_scale_that_stays_off_zero_between_two_pulls_is_cut_and_said():
    corners = [(0, 0), (3, 0), (12, 90), (12.02, 25), (22, 25), (29, 95), (29.02, 0), (33, 0)]
    found = cut(*through(*corners))
    assert len(found.pulls) == 2
    assert codes(found) == [FaultCode.NO_RETURN_TO_ZERO] * 2
    assert found.faults[0].numbers["force_N"] == pytest.approx(25, abs=1)


def test_a_clock_that_runs_back_is_said_and_the_pulls_after_it_are_found():
    forces = np.concatenate([ramp(90), ramp(80)])
    times = clock(forces)
    times[len(ramp(90)) :] -= times[len(ramp(90))]
    found = cut(times, forces)
    assert len(found.pulls) == 2
    assert codes(found) == [FaultCode.CLOCK_RUNS_BACK]
    assert found.faults[0].index == len(ramp(90))


def test_a_gap_is_said_with_its_length_and_the_pull_it_is_in():
    forces = np.concatenate([ramp(80), ramp(90)])
    kept = np.ones(forces.size, bool)
    lost = len(ramp(80)) + 700
    kept[lost : lost + 50] = False
    (fault,) = cut(clock(forces)[kept], forces[kept]).faults
    assert (fault.code, fault.pull) == (FaultCode.GAP, 1)
    assert fault.numbers["seconds"] == pytest.approx(0.51)


@pytest.mark.parametrize("lost", [range(-30, 0), range(1, 31), range(-15, 15)])
def test_a_gap_beside_the_highest_sample_may_hide_the_peak(lost):
    """Before it, after it, and over both it and its break."""
    forces = np.concatenate([ramp(80), ramp(90)])
    kept = np.ones(forces.size, bool)
    kept[[int(np.argmax(forces)) + at for at in lost]] = False
    faults = cut(clock(forces)[kept], forces[kept]).faults
    assert [(fault.code, fault.pull) for fault in faults] == [(FaultCode.PEAK_IN_GAP, 1)]


@pytest.mark.parametrize("capacity", [None, 70])
def test_a_peak_cut_off_by_the_scale_is_said_with_the_capacity_known_or_not(capacity):
    forces = np.minimum(np.round(ramp(90), 1), 70.0)
    found = cut(clock(forces), forces, capacity_N=capacity)
    (fault,) = found.faults
    assert fault.code == FaultCode.SATURATED
    assert fault.numbers["force_N"] == 70
    assert fault.numbers["seconds"] == pytest.approx(2, abs=0.05)


def test_a_coarse_step_makes_a_flat_top_that_is_none():
    forces = np.round(ramp(90) / 2) * 2
    assert cut(clock(forces), forces).faults == ()


def test_too_few_samples_on_the_way_up_are_counted():
    forces = ramp(90, rate=90, hertz=5)
    (fault,) = cut(clock(forces, 5), forces).faults
    assert (fault.code, fault.numbers["samples"]) == (FaultCode.TOO_FEW_SAMPLES, 4)


def test_two_peaks_alike_in_one_pull_are_both_named():
    corners = [(0, 0), (3, 0), (12, 90), (12.1, 60), (15.05, 89.5), (15.07, 0), (18, 0)]
    (fault,) = cut(*through(*corners)).faults
    assert fault.code == FaultCode.TWO_PEAKS_ALIKE
    assert fault.numbers["other_N"] == pytest.approx(89.4, abs=0.2)
    assert fault.numbers["valley_N"] == pytest.approx(60, abs=1)


def test_a_recording_that_ends_under_load_is_said():
    forces = ramp(90)
    forces = forces[: int(np.argmax(forces)) - 100]
    assert FaultCode.NO_RETURN_TO_ZERO in codes(cut(clock(forces), forces))


def test_nothing_but_zero_has_no_pull_and_two_samples_are_too_few():
    assert cut(clock(np.zeros(500)), np.zeros(500)).pulls == ()
    with pytest.raises(TooFewSamples):
        cut([0, 1], [0, 90])


numbers = st.floats(-1e12, 1e12) | st.sampled_from([0.0, 1e-300, -1e-300, 1e9, float("nan")])


@settings(max_examples=150, deadline=None)
@given(st.data(), st.integers(0, 80))
def test_any_recording_ends_in_pulls_within_it_or_in_a_named_error(data, size):
    times = data.draw(arrays(float, size, elements=numbers))
    if data.draw(st.booleans()):
        times = np.sort(times)
    forces = data.draw(arrays(float, size, elements=numbers))
    try:
        found = cut(times, forces)
    except MetrologyError:
        return
    ends = 0
    for part in found.pulls:
        assert ends <= part.first <= part.peak < part.last <= size
        ends = part.last


def test_a_single_sample_far_out_is_a_spike_and_a_slip_or_a_break_is_none():
    forces = ramp(90)
    assert codes(cut(clock(forces), forces)) == []
    at = int(np.argmax(forces > 50))
    for jump in (60.0, -30.0):
        spiked = forces.copy()
        spiked[at] += jump
        (fault,) = [each for each in cut(clock(forces), spiked).faults if each.code == "spike"]
        assert (fault.index, fault.pull) == (at, 0)
        assert fault.numbers["beside_N"] == pytest.approx(50, abs=0.5)
    times, slipped = through((0, 0), (3, 0), (8, 50), (8.02, 30), (12, 90), (12.02, 0), (15, 0))
    assert FaultCode.SPIKE not in codes(cut(times, slipped))


def test_a_load_cell_that_rests_off_zero_is_said_once_for_the_whole_recording():
    forces = np.concatenate([ramp(90), ramp(80)])
    assert codes(cut(clock(forces), forces + 1.0)) == []
    for rest in (7.0, -7.0):
        (fault,) = cut(clock(forces), forces + rest).faults
        assert (fault.code, fault.pull) == (FaultCode.RESTS_OFF_ZERO, None)
        assert fault.numbers["force_N"] == pytest.approx(rest, abs=0.1)


@pytest.mark.parametrize("hertz", [5, 10, 80])
def test_a_simulated_rig_without_spikes_has_none(hertz):
    rng = np.random.default_rng(hertz)
    drawn = record(rng, Logger(hertz=hertz), session(rng))
    found = {fault.code for fault in cut(drawn.time_s, drawn.reading).faults}
    assert not found & {FaultCode.SPIKE, FaultCode.RESTS_OFF_ZERO}
