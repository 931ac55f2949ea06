"""Where the pulls of a recording are.

A line that is changed bears no load, so that force falls to its zero between two pulls; a join that
slips falls and is taken up again at the pace of the winch. Zero may drift over a session, and is
taken again between each two pulls. Peaks and their prominences are those of `scipy.signal`.

The thresholds are shares of what the recording itself shows, chosen on simulated recordings
(tests/metrology/test_traces_measured.py); no source beyond.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy import signal

from rigs.metrology.traces.faults import Fault
from rigs.metrology.traces.faulty import fault_of_rest, faults_of_clock, faults_of_pull
from rigs.metrology.traces.samples import (
    Column,
    columns,
    interval_of,
    noise_of,
    runs_of,
    steady_level,
    step_of,
)

FEWEST_SAMPLES = 3
IDLE_SHARE = 0.2
"""Of the recording's range, above which a sample tells nothing of zero."""
LOADED_SHARE = 0.03
"""Of the range, above zero, at which a pull has begun; half of it at which it has ended."""
NOISES = 8.0
"""Standard deviations of noise that begin a pull, whatever the range."""
SMALL_SHARE = 0.08
"""Of the range: a lower bump is the handling of line, and left out."""
RINGING_s = 0.5
"""After a break, in which the load cell and the loose end may still swing."""
RINGING_SHARE = 0.6
DEEP_SHARE = 0.5
"""A fall to less than this share of the peaks at both sides may part two pulls."""
DWELL_TIMES = 4.0
"""How much longer force stays at the foot of such a fall than a winch that goes on leaves it."""
FLANK_s = 1.0
FLANK_SAMPLES = 10


@dataclass(frozen=True)
class Part:
    """The samples of one pull from `first` to before `last`, its zero before and after included."""

    first: int
    last: int
    peak: int


@dataclass(frozen=True)
class Cut:
    """The pulls in order; ``left_out`` are bumps too low to be pulls, which a person may claim."""

    pulls: tuple[Part, ...]
    left_out: tuple[Part, ...]
    faults: tuple[Fault, ...]


def cut(time_s: ArrayLike, force_N: ArrayLike, *, capacity_N: float | None = None) -> Cut:
    """Find the pulls of a recording, and what is wrong with it.

    Where the clock runs back, as after a restart of the logger, a new stretch begins, and no pull
    goes across. Raises TooFewSamples below three, and as `columns`.
    """
    times, forces = columns(time_s, force_N, least=FEWEST_SAMPLES)
    restarts = np.flatnonzero(np.diff(times) < 0) + 1
    bounds = [0, *restarts.tolist(), times.size]
    span = float(forces.max() - np.quantile(forces, 0.02))
    loads: list[Part] = []
    for first, last in pairwise(bounds):
        stretch = _loads(times[first:last], forces[first:last], span)
        loads += [Part(p.first + first, p.last + first, p.peak + first) for p in stretch]
    least = SMALL_SHARE * span
    pulls = tuple(part for part in loads if _height(forces, part) >= least)
    left_out = tuple(part for part in loads if _height(forces, part) < least)
    places = [(part.first, part.last, part.peak) for part in pulls]
    faults = faults_of_clock(times, forces, places)
    if pulls:
        faults += fault_of_rest(
            times, forces, float(np.median(_zero_line(times, forces, span))), span
        )
    for number, place in enumerate(places):
        faults += faults_of_pull(times, forces, place, number, capacity_N)
    return Cut(pulls, left_out, tuple(sorted(faults, key=lambda fault: fault.index)))


def _height(forces: Column, part: Part) -> float:
    return float(forces[part.peak] - forces[part.first : part.last].min())


def _loads(times: Column, forces: Column, span: float) -> list[Part]:
    """Each time that the line was loaded, however little."""
    if times.size < FEWEST_SAMPLES or span <= 0:
        return []
    net = forces - _zero_line(times, forces, span)
    begins = max(LOADED_SHARE * span, NOISES * noise_of(forces), 1.5 * step_of(forces))
    regions = _runs_above(net, begins)
    regions = _without_ringing(times, net, regions)
    regions = [piece for region in regions for piece in _split(times, net, region, span)]
    return _with_flanks(times, forces, regions)


def _runs_above(net: Column, level: float) -> list[tuple[int, int]]:
    """Runs above half of a level that pass it: noise about the level makes no run of its own."""
    return [(a, b) for a, b in runs_of(net > level / 2) if net[a:b].max() > level]


def _zero_line(times: Column, forces: Column, span: float) -> Column:
    """Zero at each sample, between the steady levels of the stretches without load."""
    low = float(np.quantile(forces, 0.02))
    is_idle = np.ones(forces.size, bool)
    for first, last in _runs_above(forces - low, IDLE_SHARE * span):
        is_idle[first:last] = False
    idle = [(a, b) for a, b in runs_of(is_idle) if b - a >= 3]
    idle = [(a, b) for a, b in idle if times[b - 1] - times[a] > RINGING_s] or idle
    if not idle:
        return np.full(forces.size, low)
    middles = [(a + b - 1) / 2 for a, b in idle]
    levels = [steady_level(forces[a:b])[0] for a, b in idle]
    return np.interp(np.arange(forces.size), middles, levels)


def _without_ringing(
    times: Column, net: Column, regions: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Regions that follow a higher one at once belong to it."""
    kept: list[tuple[int, int]] = []
    for first, last in regions:
        if kept:
            before = kept[-1]
            is_soon = times[first] - times[before[1] - 1] < RINGING_s
            if is_soon and net[first:last].max() < RINGING_SHARE * net[slice(*before)].max():
                kept[-1] = before[0], last
                continue
        kept.append((first, last))
    return kept


def _split(
    times: Column, net: Column, region: tuple[int, int], span: float
) -> list[tuple[int, int]]:
    """Cut a region where force fell far and stayed low, although not to zero."""
    first, last = region
    peaks = signal.find_peaks(
        np.concatenate([[0.0], net[first:last], [0.0]]), prominence=2 * SMALL_SHARE * span
    )[0]
    pieces: list[tuple[int, int]] = []
    begins = first
    for one, other in pairwise((peaks + first - 1).tolist()):
        foot = _foot(times[one : other + 1], net[one : other + 1], net[begins : one + 1].max())
        if foot is not None:
            pieces.append((begins, one + foot))
            begins = one + foot
    return [*pieces, (begins, last)]


def _foot(times: Column, net: Column, peak: float) -> int | None:
    """The middle of where force stays low between two peaks; None where it goes on at once."""
    low, lower = int(np.argmin(net)), min(peak, float(net[-1]))
    band = 0.05 * lower
    if net[low] > DEEP_SHARE * lower or net[-1] <= net[low] + band:
        return None
    stays = np.flatnonzero(net <= net[low] + band)
    stayed_s = stays.size * interval_of(times)
    climbs_s = float(times[-1] - times[stays[-1]])
    goes_on_s = climbs_s * band / float(net[-1] - net[low] - band)
    return int(np.median(stays)) if stayed_s > max(RINGING_s, DWELL_TIMES * goes_on_s) else None


def _with_flanks(times: Column, forces: Column, regions: list[tuple[int, int]]) -> list[Part]:
    """Add the zero before and after, at most half of what lies between two."""
    samples = max(FLANK_SAMPLES, int(FLANK_s / interval_of(times)) if interval_of(times) else 0)
    parts = []
    for number, (first, last) in enumerate(regions):
        before = regions[number - 1][1] if number else -first
        after = regions[number + 1][0] if number + 1 < len(regions) else 2 * times.size - last
        begin = max(first - samples, (before + first + 1) // 2, 0)
        end = min(last + samples, (last + after + 1) // 2, times.size)
        loaded = forces[first:last]
        peak = last - 1 - int(np.argmax(loaded[::-1]))
        parts.append(Part(begin, end, peak))
    return parts
