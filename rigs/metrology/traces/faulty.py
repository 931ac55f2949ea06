"""Finding the faults of a recording: its clock, and each of its pulls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import signal

from rigs.metrology.traces.faults import Fault, FaultCode
from rigs.metrology.traces.pull import TraceFigures
from rigs.metrology.traces.samples import Column, interval_of, noise_of, steady_level, step_of

GAP_INTERVALS = 5
"""Intervals without a sample that make a gap."""
LEAST_GAP_s = 0.05
WANTED_ON_THE_WAY_UP = 10
"""Samples: with fewer, sampling can miss more than a tenth of the peak."""
FLAT_SAMPLES = 5
FLAT_STEPS, FLAT_NOISES = 5.0, 3.0
"""What force would have risen by while the top is flat, in steps and standard deviations of noise,
for the top to be a limit."""
NEAR_CAPACITY = 0.995
FAR_FROM_CAPACITY = 0.9
OFF_ZERO_SHARE = 0.05
LOADED_SHARE = 0.2
"""Of the peak, above the recording's lowest: both ends of a pull can't be zero there."""
SPIKE_SHARE, SPIKE_NOISES, SPIKE_RISES = 0.1, 12.0, 8.0
"""How far a sample lies beyond both beside it to be a spike: shares of the peak, standard
deviations of noise, and usual rises from one sample to the next."""
RESTS_SHARE, RESTS_NOISES = 0.03, 10.0
"""Of the recording's range, and of noise: how far from zero a load cell may rest without load."""
FEWEST_ZEROS = 3
"""Pulls whose zeros show what zero usually is."""
ALIKE_SHARE = 0.97
VALLEY_SHARE = 0.1
"""Of the peak: how far force falls between two peaks that are taken for two."""


@dataclass(frozen=True)
class _Pull:
    """Samples of one pull, the level at its two ends, and what is zero by these."""

    times: Column
    forces: Column
    top: int
    ends: tuple[float, float]
    zero: float

    @property
    def peak(self) -> float:
        return float(self.forces[self.top])

    @property
    def height(self) -> float:
        return self.peak - self.zero


def faults_of_clock(
    times: Column, forces: Column, parts: Sequence[tuple[int, int, int]]
) -> list[Fault]:
    """Where the clock runs back, and where it jumps, by the (first, last, peak) of each pull."""
    intervals = np.diff(times)
    usual = interval_of(times)

    def fault(code: FaultCode, at: int, **numbers: float) -> Fault:
        pull = next((n for n, part in enumerate(parts) if part[0] < at < part[1]), None)
        return Fault(code, float(times[at]), at, pull, numbers)

    back = [
        fault(FaultCode.CLOCK_RUNS_BACK, int(before) + 1, by_s=float(-intervals[before]))
        for before in np.flatnonzero(intervals < 0)
    ]
    if usual <= 0:
        return back
    longest = max(GAP_INTERVALS * usual, LEAST_GAP_s)
    peaks = {peak for _, _, peak in parts}

    def gap(before: int) -> Fault:
        seconds = float(intervals[before])
        highest = {before, before + 1} & peaks
        if highest:
            force_N = float(forces[highest.pop()])
            return fault(FaultCode.PEAK_IN_GAP, before + 1, seconds=seconds, force_N=force_N)
        return fault(FaultCode.GAP, before + 1, seconds=seconds, usual_s=usual)

    return back + [gap(int(before)) for before in np.flatnonzero(intervals > longest)]


def faults_of_pull(
    times: Column,
    forces: Column,
    part: tuple[int, int, int],
    number: int,
    capacity_N: float | None,
) -> list[Fault]:
    """What is wrong with one pull: (first, last, peak), and its number."""
    first, last, peak = part
    pull = _pull(times[first:last], forces[first:last], peak - first, float(forces.min()))
    faults = [
        *_too_few_samples(pull),
        *(_flat_top(pull, capacity_N) or _peak_alike(pull)),
        *_off_zero(pull),
        *_spikes(pull),
    ]
    return [
        Fault(code, float(pull.times[at]), first + at, number, numbers)
        for code, at, numbers in faults
    ]


def faults_of_zeros(times: Column, pulls: Sequence[tuple[int, TraceFigures | None]]) -> list[Fault]:
    """Pulls whose zero is away from that of most others, by the first sample of each pull."""
    usual_N = usual_zero_N([figures for _, figures in pulls if figures is not None])
    return [
        Fault(
            FaultCode.ZERO_MOVED,
            float(times[first]),
            first,
            number,
            {"force_N": figures.zero_error_N, "others_N": usual_N},
        )
        for number, (first, figures) in enumerate(pulls)
        if figures is not None
        and figures.zero_error_N is not None
        and usual_N is not None
        and is_off(figures.zero_error_N - usual_N, figures.peak_N - usual_N, figures.noise_N)
    ]


def usual_zero_N(pulls: Sequence[TraceFigures]) -> float | None:
    """What the load cell rests at in most of these pulls; None where too few show it."""
    zeros = [each.zero_error_N for each in pulls if each.zero_error_N is not None]
    return float(np.median(zeros)) if len(zeros) >= FEWEST_ZEROS else None


def is_off(zero_N: float, span_N: float, noise_N: float) -> bool:
    """Whether a load cell rests too far from zero, or from another zero, for noise or handling."""
    return abs(zero_N) > max(RESTS_SHARE * span_N, RESTS_NOISES * noise_N)


def fault_of_rest(times: Column, forces: Column, zero_N: float, span_N: float) -> list[Fault]:
    """That the load cell shows a force where nothing pulls at it."""
    if not is_off(zero_N, span_N, noise_of(forces)):
        return []
    return [Fault(FaultCode.RESTS_OFF_ZERO, float(times[0]), 0, None, {"force_N": zero_N})]


_Found = tuple[FaultCode, int, dict[str, float]]


def _pull(times: Column, forces: Column, top: int, lowest: float) -> _Pull:
    before, after = forces[: max(1, min(top, 3))], forces[min(top + 1, forces.size - 1) :][-3:]
    ends = steady_level(before)[0], steady_level(after)[0]
    zero = min(ends)
    if zero - lowest > LOADED_SHARE * (float(forces[top]) - lowest):
        zero = lowest
    return _Pull(times, forces, top, ends, zero)


def _too_few_samples(pull: _Pull) -> list[_Found]:
    climbed = int((pull.forces[: pull.top + 1] > pull.zero + 0.1 * pull.height).sum())
    if climbed >= WANTED_ON_THE_WAY_UP:
        return []
    numbers: dict[str, float] = {"samples": climbed, "wanted": WANTED_ON_THE_WAY_UP}
    return [(FaultCode.TOO_FEW_SAMPLES, pull.top, numbers)]


def _flat_top(pull: _Pull, capacity_N: float | None) -> list[_Found]:
    """A top whose samples are all alike, where they are too many for a peak."""
    first, last = _alike_around(pull.forces, pull.top)
    if not _is_limit(pull, first, last, capacity_N):
        return []
    seconds = float(pull.times[last - 1] - pull.times[first])
    numbers = {"force_N": pull.peak, "samples": last - first, "seconds": seconds}
    return [(FaultCode.SATURATED, first, numbers)]


def _alike_around(forces: Column, top: int) -> tuple[int, int]:
    alike = forces >= forces[top] - 0.5 * step_of(forces)
    different = np.flatnonzero(~alike)
    before, after = different[different < top], different[different > top]
    first = int(before[-1]) + 1 if before.size else 0
    return first, int(after[0]) if after.size else forces.size


def _is_limit(pull: _Pull, first: int, last: int, capacity_N: float | None) -> bool:
    if capacity_N is not None and pull.peak >= NEAR_CAPACITY * capacity_N:
        return True
    if last - first < FLAT_SAMPLES:
        return False
    if capacity_N is not None and pull.peak < FAR_FROM_CAPACITY * capacity_N:
        return False
    step, rising = step_of(pull.forces), pull.forces[: first + 1]
    low = int(np.argmax(rising > pull.zero + 0.75 * pull.height))
    rise_s = float(pull.times[first] - pull.times[low])
    if first - low < 2 or rise_s <= 0:
        return False
    flat_s = float(pull.times[last - 1] - pull.times[first])
    rate = float(rising[-1] - rising[low]) / rise_s
    return flat_s * rate > max(FLAT_STEPS * step, FLAT_NOISES * noise_of(rising))


def _peak_alike(pull: _Pull) -> list[_Found]:
    """Another peak of nearly the same height, with a real fall between."""
    f, top = pull.forces, pull.top
    high = pull.zero + ALIKE_SHARE * pull.height
    peaks = signal.find_peaks(f, height=high, prominence=VALLEY_SHARE * pull.height)[0]
    valleys = {p: float(f[min(p, top) : max(p, top) + 1].min()) for p in peaks.tolist()}
    others = [p for p, low in valleys.items() if f[p] - low > VALLEY_SHARE * pull.height]
    if not others:
        return []
    other = max(others, key=lambda p: float(f[p]))
    numbers = {
        "force_N": pull.peak,
        "other_N": float(f[other]),
        "other_s": float(pull.times[other]),
        "valley_N": valleys[other],
    }
    return [(FaultCode.TWO_PEAKS_ALIKE, top, numbers)]


def _off_zero(pull: _Pull) -> list[_Found]:
    """Ends of the pull that lie well above what is zero by the other or by the recording."""
    least = max(OFF_ZERO_SHARE * pull.height, 6 * noise_of(pull.forces))
    return [
        (
            FaultCode.NO_RETURN_TO_ZERO,
            at,
            {"force_N": level - pull.zero, "percent": 100 * (level - pull.zero) / pull.height},
        )
        for at, level in zip((0, pull.forces.size - 1), pull.ends, strict=True)
        if level - pull.zero > least
    ]


def _spikes(pull: _Pull) -> list[_Found]:
    """Single samples, up to the highest, that lie far beyond both of their neighbours."""
    f = pull.forces[: pull.top + 2]
    if f.size < FLAT_SAMPLES:
        return []
    here, before, after = f[1:-1], f[:-2], f[2:]
    beyond = np.maximum(here - np.maximum(before, after), np.minimum(before, after) - here)
    rises = np.abs(np.diff(f[f > pull.zero + 0.1 * pull.height]))
    usual = float(np.median(rises)) if rises.size else 0.0
    least = max(
        SPIKE_SHARE * pull.height, SPIKE_NOISES * noise_of(pull.forces), SPIKE_RISES * usual
    )
    return [
        (
            FaultCode.SPIKE,
            int(at) + 1,
            {"force_N": float(here[at]), "beside_N": float((before[at] + after[at]) / 2)},
        )
        for at in np.flatnonzero(beyond > least)
    ]
