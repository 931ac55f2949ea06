"""The logger's own steps, from what it wrote: of force, and of a clock that repeats itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rigs.metrology.traces.samples import Column, columns, step_of

MOST_DECIMALS = 9
REPEATS_SHARE = 0.2
"""Of the intervals that are nothing, from which a clock is coarser than its samples."""


def written_step(force: ArrayLike) -> float:
    """The largest step of which all forces are multiples, by their decimals; 1 where all are zero.

    Where they have more than nine decimals it is the smallest difference between two, or one part
    in a thousand millions of the largest.
    """
    forces, _ = columns(force, force, least=1)
    largest = float(np.abs(forces).max())
    if largest == 0:
        return 1.0
    for decimals in range(MOST_DECIMALS + 1):
        counts = forces * 10.0**decimals
        whole = np.rint(counts)
        if (np.abs(counts - whole) <= np.maximum(1e-7, 4e-16 * np.abs(counts))).all():
            common = int(np.gcd.reduce(np.unique(np.abs(whole)).astype(np.int64)))
            if common:
                return float(common / 10**decimals)
    return max(step_of(forces), 1e-9 * largest)


def even_clock(time_s: ArrayLike) -> Column:
    """Times with those that repeat spread evenly: a clock of whole seconds, sampled ten times.

    The first and last stamp may have fewer samples than the others; the first are its last ones.
    A clock that seldom repeats is left as it is.
    """
    times, _ = columns(time_s, time_s, least=2)
    if (np.diff(times) == 0).mean() < REPEATS_SHARE:
        return times
    begins = np.flatnonzero(np.diff(times, prepend=times[0] - 1) != 0)
    counts = np.diff([*begins, times.size])
    if begins.size < 3:
        return times
    usual = int(np.median(counts[1:-1]))
    tick = float(np.median(np.abs(np.diff(times[begins]))))
    within = np.arange(times.size) - np.repeat(begins, counts)
    shares = np.maximum(counts, usual)
    shift = np.where(np.arange(begins.size) == 0, np.maximum(usual - counts, 0), 0)
    within = (within + np.repeat(shift, counts)) / np.repeat(shares, counts)
    return np.asarray(times + tick * within, float)
