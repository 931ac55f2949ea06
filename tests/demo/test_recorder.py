"""Recordings of a simulated rig: every pull is found, and its peak is as sure as is said.

The rig (`deploy/demo/recorder.py`) turns a winch unevenly, slips, swings, drifts and saturates by
its own rules; nothing of it is known to what reads the recording.
"""

from dataclasses import replace
from math import log, sqrt

import numpy as np
import pytest

from deploy.demo.recorder import Logger, Specimen, record, session
from results.intake.recordings import read_recording
from rigs.metrology.traces.cutting import cut
from rigs.metrology.traces.faults import FaultCode
from rigs.metrology.traces.pull import describe

RATES = (5, 10, 80, 1000)


def drawn(hertz, seed, specimens=None, **changed):
    rng = np.random.default_rng([hertz, seed])
    logger = Logger(hertz=hertz, clock_step_s=1e-6 if hertz > 200 else 1e-3)
    return record(rng, replace(logger, **changed), specimens or session(rng))


def figures_of(recording):
    forces = recording.reading
    return [
        describe(recording.time_s[part.first : part.last], forces[part.first : part.last])
        for part in cut(recording.time_s, forces).pulls
    ]


def read_with_errors(recording):
    """The pulls of a file as sent, and how many standard uncertainties their peaks are off."""
    found = read_recording(recording.as_csv(), "text/csv")
    step = recording.logger.step / sqrt(12)
    errors = [
        (figures.load_N - pull.peak_N) / sqrt(figures.u_load_N**2 + step**2)
        for figures, pull in zip(found.figures, recording.truth, strict=False)
    ]
    return found, errors


def test_of_a_hundred_recordings_of_twenty_pulls_all_pulls_and_95_in_100_peaks_are_right():
    found, within = 0, []
    for hertz, recordings in ((5, 32), (10, 32), (80, 32), (1000, 4)):
        for seed in range(recordings):
            recording = drawn(hertz, seed)
            read, errors = read_with_errors(recording)
            found += len(read.cut.pulls) == 20
            within += [abs(error) < 1.96 for error in errors]
    assert found == 100
    assert len(within) == 2000
    assert np.mean(within) >= 0.95


# r d / 2 missed, u = r d / sqrt(12): JCGM 100:2008 (GUM) 4.3.7, a rectangular distribution.
@pytest.mark.parametrize("hertz", RATES)
def test_the_missed_peak_is_right_on_average_and_its_uncertainty_covers(hertz):
    pulls = [Specimen("straight", 90.0, 12.0)] * 20
    raw, corrected, uncertain = [], [], []
    for seed in range(2 if hertz == 1000 else 10):
        for figures in figures_of(drawn(hertz, seed, pulls)):
            raw.append(figures.peak_N - figures.zero_error_N - 90)
            corrected.append(figures.load_N - 90)
            uncertain.append(figures.u_load_N)
    standard_error = np.std(corrected) / sqrt(len(corrected))
    assert abs(np.mean(corrected)) < 3.5 * standard_error + 0.05
    within = np.abs(corrected) < 1.96 * np.hypot(uncertain, 0.05 / sqrt(12))
    assert np.mean(within) >= 0.95 - 2.5 * sqrt(0.95 * 0.05 / len(within))
    if hertz <= 10:
        assert np.mean(raw) < -0.35 * 12 / hertz


def test_straight_line_and_join_recorded_alike_cancel_most_of_the_missed_peak():
    line, join = Specimen("straight", 92.0, 12.0), Specimen("joined", 74.0, 12.0)
    line_N, join_N = [], []
    for seed in range(12):
        figures = figures_of(drawn(5, seed, [line, join] * 10))
        line_N += [each.peak_N - each.zero_error_N for each in figures[0::2]]
        join_N += [each.peak_N - each.zero_error_N for each in figures[1::2]]
    off_line, off_join = log(np.mean(line_N) / 92), log(np.mean(join_N) / 74)
    assert off_line < -0.01
    assert abs(off_join - off_line) < 0.4 * abs(off_join)


def test_a_slow_filter_lowers_both_alike_and_the_efficiency_hardly():
    line, join = Specimen("straight", 92.0, 12.0), Specimen("joined", 74.0, 12.0)
    figures = figures_of(drawn(80, 3, [line, join] * 10, filter_s=0.1))
    off_line = np.mean([log(each.load_N / 92) for each in figures[0::2]])
    off_join = np.mean([log(each.load_N / 74) for each in figures[1::2]])
    # r T below, the filter's time being 0.1 s: about 1.2 N of 92, and more at the stiff end.
    assert -0.03 < off_line < -0.008
    assert abs(off_join - off_line) < 0.4 * abs(off_join)


@pytest.mark.parametrize("hertz", [10, 80])
def test_a_logger_that_saturates_is_caught_at_each_pull_it_cuts_off_and_at_no_other(hertz):
    recording = drawn(hertz, 7, capacity_N=75.0)
    saturated = {n for n, pull in enumerate(recording.truth) if pull.peak_N > 77}
    spared = {n for n, pull in enumerate(recording.truth) if pull.peak_N < 74}
    found = cut(recording.time_s, recording.reading, capacity_N=75.0)
    said = {fault.pull for fault in found.faults if fault.code == FaultCode.SATURATED}
    assert saturated
    assert spared
    assert saturated <= said <= set(range(20)) - spared


def test_slips_are_counted_as_they_were_drawn():
    right = 0
    for recording in (drawn(80, seed) for seed in range(3)):
        pairs = zip(figures_of(recording), recording.truth, strict=True)
        right += sum(len(figures.slips) == pull.slips for figures, pull in pairs)
    assert right >= 57
