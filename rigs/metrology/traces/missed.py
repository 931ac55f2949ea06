"""How far the highest sample is from the peak: what sampling misses and what noise adds.

Force rises by r a second and is sampled every d seconds; where the break is sharp, the highest
sample is below the peak by at most r d, uniformly on (0, r d): r d / 2 is added, with
u = r d / sqrt(12), type B (GUM 4.3.7, the rectangular distribution). Where force falls by only s a
second after its peak, as where a pull is let down, at most r s / (r + s) d can lie between two
samples, which is r d for a sharp break. A filter of time constant T in the scale or its amplifier
adds about r T, which is not known here.

With noise the highest sample is the highest of many: on a rise, the k-th before the break has
r d k less to offer. The mean and scatter of the maximum of z_k - k/ratio, z_k standard normal and
ratio = noise / (r d), follow from its distribution function, the product of those of its terms.
Where neighbours are alike, the mean is lower; how much is not known, and is in the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from scipy import special

from rigs.metrology.traces.samples import Column

_RATIOS = np.geomspace(0.05, 200, 40)
ALIKE = 4.0
"""Samples that an amplifier's filter may make alike, so that there are fewer to be the highest."""
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


def missed_peak(rate: float, fall_rate: float, interval_s: float, noise: float) -> Missed:
    """By newtons a second before and after the peak, seconds between samples, and noise (sd).

    ``fall_rate`` may be infinite: a sharp break.
    """
    rise = max(rate, 0.0)
    falls = max(fall_rate, 0.0)
    slower = rise if np.isinf(falls) else rise * falls / (rise + falls) if rise + falls else 0.0
    between = slower * interval_s
    a_step = rise * interval_s
    ratio = noise / a_step if a_step > 0 else float(_RATIOS[-1])
    excess, scatter = _highest_of_noise(ratio)
    fewest, _ = _highest_of_noise(ratio / ALIKE)
    u_noise = noise * sqrt(scatter**2 + (excess - fewest) ** 2 / 12)
    return Missed(between / 2, between / sqrt(12), noise * excess, u_noise)


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
