"""How far the highest sample is from the peak: what sampling misses and what noise adds.

Force rises by r a second and is sampled every d seconds; where the break is sharp, the highest
sample is below the peak by at most r d, uniformly on (0, r d): r d / 2 is added, with
u = r d / sqrt(12), type B (GUM 4.3.7, the rectangular distribution). Where force falls by only s a
second after its peak, as where a pull is let down, at most r s / (r + s) d can lie between two
samples, which is r d for a sharp break. A filter of time constant T in the scale or its amplifier
adds about r T, which is not known here.

With noise the highest sample is the highest of many: on a rise, the k-th before the break has
r d k less to offer, so that noise adds the maximum of e_k - r d k. Its mean and scatter are taken
from the zero before and after the pull: at each of its samples, the highest of those before it less
r d for each sample in between. So it is the noise of this load cell, alike from one sample to the
next, hum or steps as it may be. It is a maximum over moving blocks (Künsch 1989, Annals of
Statistics 17:1217-1261), and as many of its values are independent as the initial positive
sequence of its autocorrelations says (Geyer 1992, Statistical Science 7:473).

Where too little of the zero was recorded, noise is taken as normal and independent: the mean and
scatter of the maximum of z_k - k/ratio, z_k standard normal and ratio = noise / (r d), follow from
its distribution function, the product of those of its terms. Where neighbours are alike, the mean
is lower; how much is not known, and is in the uncertainty. Where a zero stays within one step,
noise is hidden in it, and adds anything up to half a step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import ceil, hypot, sqrt

import numpy as np
from scipy import special

from rigs.metrology.traces.samples import Column, runs_of, scatter_of

_RATIOS = np.geomspace(0.05, 200, 40)
ALIKE = 4.0
"""Samples that an amplifier's filter may make alike, so that there are fewer to be the highest."""
FEWEST_IDLE = 50
"""Samples of zero from which its noise tells what it adds to a peak."""
FAR_SCATTERS, FAR_STEPS = 8.0, 2.0
"""Beyond these from its level a sample of zero is a tug at the line, and no noise."""
_REACH = 9.0
"""Standard deviations beyond which a term is never the highest."""


@dataclass(frozen=True)
class Missed:
    """What to add to the highest sample, and by how much that can be wrong, both in newtons.

    ``missed_N`` and ``u_missed_N`` are by sampling. ``excess_N`` is what noise has added, to be
    taken off, and ``u_noise_N`` is what it leaves.
    """

    missed_N: float
    u_missed_N: float
    excess_N: float
    u_noise_N: float


def missed_peak(
    rate: float,
    fall_rate: float,
    interval_s: float,
    noise: float,
    idle: Sequence[Column] = (),
    step: float = 0.0,
    u_rate: float = 0.0,
) -> Missed:
    """By newtons a second before and after the peak, seconds between samples, and noise (sd).

    ``fall_rate`` may be infinite: a sharp break. ``idle`` are stretches of zero without load, each
    less its level, and ``step`` is that of the forces, in newtons. ``u_rate`` is the standard
    uncertainty of ``rate``: the winch may turn faster or slower just before the break.
    """
    rise = max(rate, 0.0)
    falls = max(fall_rate, 0.0)
    slower = rise if np.isinf(falls) else rise * falls / (rise + falls) if rise + falls else 0.0
    between = slower * interval_s
    a_step = rise * interval_s
    # What is missed is U r d, U uniform on (0, 1), whose mean square is 1/3.
    by_rate = min(u_rate * interval_s, 2 * between) / sqrt(3)
    missed = between / 2, hypot(between / sqrt(12), by_rate)
    if sum(stretch.size for stretch in idle) >= FEWEST_IDLE:
        return Missed(*missed, *_added_by(idle, a_step, step))
    ratio = noise / a_step if a_step > 0 else float(_RATIOS[-1])
    excess, scatter = _highest_of_noise(ratio)
    fewest, _ = _highest_of_noise(ratio / ALIKE)
    u_noise = noise * sqrt(scatter**2 + (excess - fewest) ** 2 / 12)
    return Missed(*missed, noise * excess, u_noise)


def _added_by(idle: Sequence[Column], a_step: float, step: float) -> tuple[float, float]:
    """What noise like that of these stretches adds to the highest sample, and its uncertainty."""
    pieces = [piece for stretch in idle for piece in _without_tugs(stretch, step)]
    samples = np.concatenate(pieces)
    width = float(np.ptp(samples))
    if width < 1.5 * step:
        return step / 4, step / 4
    reach = ceil(width / a_step) if a_step > 0 else samples.size
    highest = np.concatenate([_highest_before(piece, a_step, reach) for piece in pieces])
    return float(highest.mean()), float(highest.std()) * sqrt(1 + 1 / _independent(highest))


def _without_tugs(stretch: Column, step: float) -> list[Column]:
    far = FAR_SCATTERS * scatter_of(stretch) + FAR_STEPS * step
    return [stretch[a:b] for a, b in runs_of(np.abs(stretch) <= far)]


def _highest_before(noise: Column, a_step: float, reach: int) -> Column:
    """At each sample the highest of noise[i - k] - k a_step; as far back as there are samples."""
    climb = a_step * np.arange(noise.size)
    highest = np.maximum.accumulate(noise + climb) - climb
    return np.asarray(highest[min(reach, noise.size // 2) :], float)


def _independent(values: Column) -> float:
    """How many independent values tell as much of the mean."""
    off = values - values.mean()
    power = np.abs(np.fft.rfft(off, 2 * off.size)) ** 2
    covariance = np.fft.irfft(power)[: off.size]
    if covariance[0] <= 0:
        return float(values.size)
    pairs = (covariance[: off.size // 2 * 2] / covariance[0]).reshape(-1, 2).sum(axis=1)
    ends = int(np.argmax(pairs <= 0)) if (pairs <= 0).any() else pairs.size
    return max(1.0, values.size / max(1.0, 2 * float(pairs[:ends].sum()) - 1))


def _highest_of_noise(ratio: float) -> tuple[float, float]:
    """Mean and standard deviation of the maximum, in standard deviations of the noise."""
    means, deviations = _table()
    at = float(np.log(np.clip(ratio, _RATIOS[0], _RATIOS[-1])))
    logs = np.log(_RATIOS)
    return float(np.interp(at, logs, means)), float(np.interp(at, logs, deviations))


@cache
def _table() -> tuple[Column, Column]:
    moments = np.array([_moments(float(ratio)) for ratio in _RATIOS])
    return moments[:, 0], moments[:, 1]


def _moments(ratio: float) -> tuple[float, float]:
    values = np.linspace(-_REACH, _REACH, 721)
    terms = np.arange(int(np.ceil(2 * _REACH * ratio)) + 1)
    log_chance = sum(
        special.log_ndtr(values[:, None] + block[None, :] / ratio).sum(axis=1)
        for block in np.array_split(terms, max(1, terms.size // 200))
    )
    below = np.exp(log_chance)
    # E x = b - integral of F, E x^2 = b^2 - 2 integral of x F, from -b to b.
    mean = _REACH - float(np.trapezoid(below, values))
    square = _REACH**2 - 2 * float(np.trapezoid(values * below, values))
    return mean, sqrt(max(square - mean**2, 0.0))
