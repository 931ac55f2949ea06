"""What the trace of one pull says: its peak, its pace, its slips and its zero.

Time to break is from the beginning of the load to the highest force, as in ISO 2062 (from memory);
the loading rate is the mean one between a tenth and nine tenths of the peak.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import signal

from rigs.metrology.errors import ClockRunsBack, TooFewSamples
from rigs.metrology.traces.missed import Missed, missed_peak
from rigs.metrology.traces.samples import (
    Column,
    columns,
    interval_of,
    noise_of,
    runs_of,
    scatter_of,
    steady_level,
    step_of,
)

FEWEST_SAMPLES = 4
TOE_SHARE = 0.02
"""Of the peak, above zero, at which a pull begins."""
LAST_SHARE = 0.75
"""Of the peak, above which the rate at the break is taken."""
FINEST_s = 1e-9
"""No clock of a load cell tells less apart: over less time nothing has a rate."""
LAST_s, LAST_NOISES = 0.2, 10.0
"""How long before the break the rate is taken, and how far force has to rise in that time."""
UNEVEN_s = 1.0
"""How long before the break the rate's unevenness is taken: about a turn of a crank."""
SLIP_SHARE = 0.02
"""Of the peak: a smaller fall is no slip."""
NOISES = 8.0
"""Standard deviations of noise that a fall must have to be none of it."""
FOOT_SHARE = 0.03
"""Of the peak: what is higher is no zero."""
FEWEST_OF_A_LEVEL = 3
FEWEST_OF_A_SCATTER = 20
SWINGING_s = 0.5
"""After a break, in which load cell and loose end swing."""
LONGEST_REACH = 50
"""Samples after the highest in which its break is looked for."""
STEADY_SHARE = 0.01
"""Of the peak: how wide the zero may scatter to be one."""
HOLD_s = 2.0
CREEP_SHARE = 0.05
"""Of the peak: what is lost faster within a hold is a slip."""
HOLD_RISE = 0.02
"""Of the mean loading rate, below which the winch stands."""


@dataclass(frozen=True)
class Slip:
    """A fall with a higher peak after it, in newtons as recorded."""

    time_s: float
    from_N: float
    to_N: float


@dataclass(frozen=True)
class Hold:
    """The longest time on the way up in which force did not rise: what is lost in it is creep."""

    time_s: float
    seconds: float
    from_N: float
    to_N: float

    @property
    def creep_N_per_s(self) -> float:
        return (self.from_N - self.to_N) / self.seconds


@dataclass(frozen=True)
class TraceFigures:
    """Figures of one pull. Forces are as recorded, zero included, but for ``load_N``.

    ``zero_before_N`` and ``zero_after_N`` are None where the trace has no steady zero there, and
    ``zero_error_N``, their mean, and its ``u_zero_N`` where it has none at all. ``stiffening`` is
    the rate of the upper half of the rise over that of the lower one: by it the line grows stiffer
    at the pace of the winch; None where there are slips or holds. Stiffness itself would take
    stretch, which a trace has not.
    """

    peak_N: float
    peak_at_s: float
    start_s: float
    time_to_break_s: float
    loading_rate_N_per_s: float
    rate_at_break_N_per_s: float
    slips: tuple[Slip, ...]
    hold: Hold | None
    stiffening: float | None
    zero_before_N: float | None
    zero_after_N: float | None
    zero_error_N: float | None
    u_zero_N: float | None
    noise_N: float
    missed_peak_N: float
    u_missed_peak_N: float
    noise_excess_N: float
    u_noise_N: float

    @property
    def load_N(self) -> float:
        """The peak as it was, by this trace: zero, missed peak and noise put right."""
        return self.peak_N - (self.zero_error_N or 0.0) + self.missed_peak_N - self.noise_excess_N

    @property
    def u_load_N(self) -> float:
        """Standard uncertainty of ``load_N`` by the trace alone: calibration and step are apart."""
        return sqrt((self.u_zero_N or 0.0) ** 2 + self.u_missed_peak_N**2 + self.u_noise_N**2)


def describe(
    time_s: ArrayLike, force_N: ArrayLike, *, sample_interval_s: float | None = None
) -> TraceFigures:
    """Figures of one pull, its zero before and after included where it was recorded.

    Raises TooFewSamples where fewer than four samples, or fewer than two of the rise, are left to
    judge by, ClockRunsBack, and as `columns`.
    """
    times, forces = columns(time_s, force_N, least=FEWEST_SAMPLES)
    if (np.diff(times) < 0).any():
        raise ClockRunsBack(f"at sample {int(np.argmax(np.diff(times) < 0)) + 1}")
    peak = forces.size - 1 - int(np.argmax(forces[::-1]))
    noise = noise_of(forces)
    zero = _zero(times, forces, peak, noise)
    noise = max(noise, zero.noise)
    start = _start(forces[: peak + 1], zero.at_start(forces, peak), noise)
    if times[peak] - times[start] < FINEST_s:
        raise TooFewSamples("fewer than two samples of the rise")
    t, net = times[start : peak + 1], forces[start : peak + 1] - zero.at_start(forces, peak)
    falls = _falls(net, max(SLIP_SHARE * net[-1], NOISES * noise, 1.5 * step_of(net)))
    rate = _rate_between(t, net, 0.1, 0.9)
    at_break = _rate_at_break(t, net, falls[-1][1] if falls else 0, noise)
    u_rate = _u_rate(t, net, falls[-1][1] if falls else 0, noise)
    missed = _missed(times, forces, peak, (at_break, u_rate), noise, zero, sample_interval_s)
    hold = _hold(times[start:], forces[start:], peak - start, rate, noise)
    slips = tuple(
        Slip(float(t[a]), float(forces[start + a]), float(forces[start + b])) for a, b in falls
    )
    return TraceFigures(
        peak_N=float(forces[peak]),
        peak_at_s=float(times[peak]),
        start_s=float(times[start]),
        time_to_break_s=float(times[peak] - times[start]),
        loading_rate_N_per_s=rate,
        rate_at_break_N_per_s=at_break,
        slips=slips,
        hold=hold,
        stiffening=None if slips or hold else _stiffening(t, net),
        zero_before_N=zero.before,
        zero_after_N=zero.after,
        zero_error_N=zero.mean,
        u_zero_N=zero.uncertainty(noise, step_of(forces)),
        noise_N=noise,
        missed_peak_N=missed.missed_N,
        u_missed_peak_N=missed.u_missed_N,
        noise_excess_N=missed.excess_N,
        u_noise_N=missed.u_noise_N,
    )


@dataclass(frozen=True)
class _Zero:
    """Levels before and after, the scatter about them, which noise alike from one sample to the
    next does not hide, and the samples less their level.
    """

    before: float | None
    after: float | None
    noise: float
    idle: tuple[Column, ...]

    @property
    def mean(self) -> float | None:
        known = [zero for zero in (self.before, self.after) if zero is not None]
        return sum(known) / len(known) if known else None

    def at_start(self, forces: Column, peak: int) -> float:
        if self.before is not None:
            return self.before
        return min(self.after or 0.0, float(forces[: peak + 1].min()))

    def uncertainty(self, noise: float, step: float) -> float | None:
        """Anywhere between the two, with equal chance, the noise of a level and its step."""
        if self.before is None or self.after is None:
            return None if self.mean is None else hypot(noise, step / sqrt(12))
        apart = (self.after - self.before) / sqrt(12)
        return hypot(apart, noise / sqrt(FEWEST_OF_A_LEVEL), step / sqrt(12))


def _zero(times: Column, forces: Column, peak: int, noise: float) -> _Zero:
    """The steady levels before the load and, once it no longer swings, after it."""
    height = float(forces[peak] - forces[: peak + 1].min())
    tolerance = max(STEADY_SHARE * height, 5 * noise, 2 * step_of(forces))
    low = float(forces[: peak + 1].min()) + max(FOOT_SHARE * height, 8 * noise)
    before = forces[: int(np.argmax(forces > low))]
    unloaded = peak + np.flatnonzero(forces[peak:] < forces[peak] - 0.5 * height)
    after = forces[:0]
    if unloaded.size:
        swung = np.searchsorted(times, times[unloaded[0]] + SWINGING_s)
        after = forces[
            max(int(unloaded[0]) + 1, min(int(swung), forces.size - FEWEST_OF_A_LEVEL)) :
        ]
    levels = _steady(before, tolerance), _steady(after, tolerance)
    scatters = [
        scatter_of(idle)
        for idle, level in zip((before, after), levels, strict=True)
        if level is not None and idle.size >= FEWEST_OF_A_SCATTER
    ]
    # What has begun to rise is no zero: it ends at the last sample that lies below its level.
    idle = [
        stretch - level
        for stretch, level in zip((_until_it_rises(before, levels[0]), after), levels, strict=True)
        if level is not None
    ]
    return _Zero(*levels, min(scatters, default=0.0), tuple(idle))


def _until_it_rises(before: Column, level: float | None) -> Column:
    low = np.flatnonzero(before <= level) if level is not None else before[:0]
    return before[: int(low[-1]) + 1] if low.size else before[:0]


def _steady(forces: Column, tolerance: float) -> float | None:
    if forces.size < FEWEST_OF_A_LEVEL:
        return None
    level, width = steady_level(forces)
    return level if width <= tolerance else None


def _start(rise: Column, zero: float, noise: float) -> int:
    """The last sample at zero before force first passes a tenth of the peak."""
    height = float(rise[-1] - zero)
    loaded = int(np.argmax(rise >= zero + 0.1 * height))
    unloaded = np.flatnonzero(rise[: loaded + 1] <= zero + max(TOE_SHARE * height, 5 * noise))
    return int(unloaded[-1]) if unloaded.size else 0


def _falls(net: Column, least: float) -> list[tuple[int, int]]:
    """Peak and valley of each fall on the way up to the last, highest sample."""
    tops = signal.find_peaks(net, prominence=least)[0].tolist()
    return [
        (int(a), int(a) + int(np.argmin(net[a : b + 1])))
        for a, b in pairwise([*tops, net.size - 1])
    ]


def _rate_between(t: Column, net: Column, low: float, high: float) -> float:
    """Newtons a second between two shares of the last sample, each where it is first passed."""
    at_low, from_N = _passing(t, net, low * float(net[-1]))
    at_high, to_N = _passing(t, net, high * float(net[-1]))
    if at_high - at_low < FINEST_s:
        return float(net[-1] - net[0]) / float(t[-1] - t[0])
    return (to_N - from_N) / (at_high - at_low)


def _passing(t: Column, net: Column, level: float) -> tuple[float, float]:
    """When force first passes a level, and the force there: the first sample may be above it."""
    index = int(np.argmax(net >= level))
    if index == 0:
        return float(t[0]), float(net[0])
    share = (level - float(net[index - 1])) / float(net[index] - net[index - 1])
    return float(t[index - 1]) + share * float(t[index] - t[index - 1]), level


def _rate_at_break(t: Column, net: Column, valley: int, noise: float) -> float:
    """Least squares over the end of the last rise: long enough for the noise, and no longer,
    since a winch turns unevenly; by two intervals at least where there are as many.
    """
    below = np.flatnonzero(net < LAST_SHARE * net[-1])
    earliest = max(int(below[-1]) if below.size else 0, valley)
    under_noise = np.flatnonzero(net < net[-1] - LAST_NOISES * noise)
    latest = min(
        int(np.searchsorted(t, t[-1] - LAST_s)), int(under_noise[-1]) if under_noise.size else 0
    )
    first = max(0, min(max(earliest, latest), net.size - 3))
    places = t[first:] - t[first:].mean()
    squares = float(places @ places)
    return float(places @ net[first:]) / squares if squares > 0 else 0.0


def _u_rate(t: Column, net: Column, valley: int, noise: float) -> float:
    """How much the rate differs from one interval to the next before the break, noise apart."""
    first = max(valley, int(np.searchsorted(t, t[-1] - UNEVEN_s)), 0)
    rises = np.diff(net[min(first, max(net.size - 4, 0)) :])
    intervals = np.diff(t[-rises.size - 1 :])
    usable = intervals >= FINEST_s
    if usable.sum() < 2:
        return 0.0
    rates = rises[usable] / intervals[usable]
    by_noise = 2 * (noise / float(np.median(intervals[usable]))) ** 2
    return sqrt(max(0.0, float(rates.var(ddof=1)) - by_noise))


def _missed(
    times: Column,
    forces: Column,
    peak: int,
    rates: tuple[float, float],
    noise: float,
    zero: _Zero,
    sample_interval_s: float | None,
) -> Missed:
    """By the interval after the peak, where a sample is lost there, and the fall behind it;
    ``rates`` are the rate at the break and its standard uncertainty.
    """
    (rate, u_rate), step = rates, step_of(forces)
    usual = interval_of(times) if sample_interval_s is None else sample_interval_s
    if peak + 1 == forces.size or usual <= 0:
        return missed_peak(rate, inf, usual, noise, zero.idle, step, u_rate)
    after = float(times[peak + 1] - times[peak])
    interval = after if after > 1.5 * usual else usual
    # With noise the highest sample may be some way before the break.
    # One more may lie on the fall itself.
    reach = 2 + (int(min(LONGEST_REACH, 2 * noise / (rate * usual))) if rate > 0 else 0)
    falls = forces[peak] - forces[peak + 1 : peak + 1 + reach]
    fall_rate = float((falls / np.arange(1, falls.size + 1)).max()) / interval
    return missed_peak(rate, fall_rate, interval, noise, zero.idle, step, u_rate)


def _hold(t: Column, forces: Column, peak: int, rate: float, noise: float) -> Hold | None:
    """The longest stretch, above a tenth of the peak, in which force stood or only crept."""
    height = float(forces[peak] - forces[0])
    most = HOLD_RISE * rate * HOLD_s + 2 * noise
    standing = forces > forces[0] + 0.1 * height
    for seconds in (HOLD_s / 2, HOLD_s):
        change = np.interp(t + seconds, t, forces) - forces
        standing &= (change <= most) & (change >= -CREEP_SHARE * height - 2 * noise)
    standing &= t + HOLD_s <= t[-1]
    runs = [(a, int(np.searchsorted(t, t[b - 1] + HOLD_s))) for a, b in runs_of(standing)]
    if not runs:
        return None
    first, last = max(runs, key=lambda run: float(t[run[1]] - t[run[0]]))
    b = first + 1 + int(np.argmin(forces[first + 1 : last + 1]))
    a = first + int(np.argmax(forces[first:b]))
    return Hold(float(t[a]), float(t[b] - t[a]), float(forces[a]), float(forces[b]))


def _stiffening(t: Column, net: Column) -> float | None:
    lower = _rate_between(t, net, 0.1, 0.5)
    return _rate_between(t, net, 0.5, 0.9) / lower if lower > 0 else None
