"""What each participant found of each sample: the mean of ln load, the mean load, its scatter.

Where the grip parted first a load is a lower bound. It enters by the likelihood of a lognormal
whose scatter is that of the sample in everybody's hands (normal ln loads, one variance, a level for
each cell; fitted by the EM algorithm, Dempster, Laird & Rubin 1977, JRSS B 39:1-38), never as a
strength and never left out. A cell in which nothing but lower bounds came has no level.
"""

from dataclasses import dataclass

import numpy as np

from results.statistics.censored import location_at_scale, strength
from results.statistics.censored_newton import normal
from results.statistics.errors import NoConvergence, NotEstimable, StatisticsError, TooFewPulls
from results.statistics.rounds.observations import Booleans, Floats, Ids, Pulls

LEAST_SCALE = 1e-4
"""Scatter of ln load below which no scale shows any."""
LARGEST_SCALE = 10.0  # the mean of a wider lognormal soon is beyond all numbers
STEPS = 5000
SETTLED = 1e-12


@dataclass(frozen=True)
class Cell:
    """One participant's pulls of one sample.

    The variance of ``log_mean`` is the sample's scatter squared over ``worth``, which is the number
    of pulls where none is a lower bound. ``sd_N`` is None where the cell's pulls alone give no
    scatter.
    """

    participant: int
    sample: int
    pulls: int
    exact: int
    log_mean: float
    worth: float
    mean_N: float
    sd_N: float | None

    @property
    def whole(self) -> bool:
        return self.exact == self.pulls


@dataclass(frozen=True)
class CellsOfSample:
    """Cells of one material, the scatter of ln load within them and its degrees of freedom.

    ``without_level`` are participants with a cell of nothing but lower bounds. ``log_sd`` is None
    where no cell has two pulls.
    """

    material: int
    cells: tuple[Cell, ...]
    without_level: tuple[int, ...]
    log_sd: float | None
    freedom: int


def cells_of(pulls: Pulls, material: int) -> CellsOfSample:
    """Cells by participant and sample of pulls (n,) of one material, in order of their numbers.

    Samples that hide the same material share its scatter. Raises `TooFewPulls` for no pull,
    `NotEstimable` where loads scatter beyond all numbers, `NoConvergence`.
    """
    if not pulls.load_N.size:
        raise TooFewPulls(f"sample {material} has no pulls")
    keys, group = _groups(pulls)
    exact = np.bincount(group, pulls.failed, minlength=len(keys)) > 0
    kept = pulls.where(exact[group])
    without = tuple(key[0] for key, level in zip(keys, exact, strict=True) if not level)
    if not kept.load_N.size:
        return CellsOfSample(material, (), without, None, 0)
    keys, group = _groups(kept)
    y = np.log(kept.load_N)
    freedom = y.size - len(keys)
    log_sd = _scatter(y, kept.failed, group) if freedom else None
    if log_sd is not None and log_sd > LARGEST_SCALE:
        raise NotEstimable(f"loads of sample {material} scatter so widely that none has a mean")
    cells = tuple(
        _cell(key, kept.where(group == number), log_sd) for number, key in enumerate(keys)
    )
    return CellsOfSample(material, cells, without, log_sd, freedom)


def _groups(pulls: Pulls) -> tuple[list[tuple[int, int]], Ids]:
    """Participant and sample of each cell, and the cell of each pull (n,)."""
    keys, group = np.unique(
        np.stack((pulls.participant, pulls.sample)), axis=1, return_inverse=True
    )
    return [(int(person), int(sample)) for person, sample in keys.T], group.ravel()


def _scatter(y: Floats, failed: Booleans, group: Ids) -> float:
    """Scatter of ln load within groups, each with a level of its own; n - g in place of n."""
    sizes = np.bincount(group)
    level = np.bincount(group, y) / sizes
    variance = float(((y - level[group]) ** 2).mean())
    for _ in range(STEPS):
        scale = max(float(np.sqrt(variance)), LEAST_SCALE)
        z = (y - level[group]) / scale
        _, slope, _ = normal(z, failed)
        hazard = np.where(failed, 0.0, -slope)
        expected = np.where(failed, y, level[group] + scale * hazard)
        spread = np.where(failed, 0.0, scale**2 * (1.0 + z * hazard - hazard**2))
        level = np.bincount(group, expected) / sizes
        before, variance = variance, float((spread + (expected - level[group]) ** 2).mean())
        if abs(variance - before) <= SETTLED * (variance + LEAST_SCALE**2):
            corrected = variance * y.size / (y.size - sizes.size)
            return max(float(np.sqrt(corrected)), LEAST_SCALE)
    raise NoConvergence("the scatter within the cells did not settle")


def _cell(key: tuple[int, int], pulls: Pulls, log_sd: float | None) -> Cell:
    load, failed, y = pulls.load_N, pulls.failed, np.log(pulls.load_N)
    n, exact = load.size, int(failed.sum())
    if exact == n:
        log_mean, worth, mean = float(y.mean()), float(n), float(load.mean())
        sd = float(load.std(ddof=1)) if n > 1 else None
    else:
        scale = LEAST_SCALE if log_sd is None else log_sd
        log_mean = location_at_scale(y, failed, "lognormal", scale)
        worth = float(-normal((y - log_mean) / scale, failed)[2].sum())
        mean, sd = float(np.exp(log_mean + scale**2 / 2.0)), _own_sd(load, failed)
    return Cell(*key, n, exact, log_mean, worth, mean, sd)


def _own_sd(load: Floats, failed: Booleans) -> float | None:
    """From the cell's own censored fit, None where its pulls are too few or too alike for one."""
    try:
        return strength(load, ~failed).sd_N
    except StatisticsError:
        return None
