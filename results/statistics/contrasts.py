"""Joins compared on the same rig and day, as contrasts within a baseline.

Sets measured against one baseline are contrasted with that baseline's first join, so that what
the rig, the day and the straight line have in common drops out. Contrasts of one baseline share
the sampling variance of their base (multi-arm covariance: Gleser & Olkin 2009, in Cooper, Hedges
& Valentine, Handbook of Research Synthesis, chapter 19).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewSets

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Contrasts:
    """c contrasts y = `treatment` less `base` on the log scale, every array (c,).

    The covariance of two contrasts of one baseline is its `shared_variance`; the variance of a
    contrast is `own_variance + shared_variance`.
    """

    y: Floats
    own_variance: Floats
    shared_variance: Floats
    treatment: NDArray[np.str_]
    base: NDArray[np.str_]
    tester: Integers
    baseline: Integers


def within_baseline_contrasts(
    y: ArrayLike,
    own_variance: ArrayLike,
    join: ArrayLike,
    tester: ArrayLike,
    baseline: ArrayLike,
) -> Contrasts:
    """Contrasts of k sets with log efficiencies y; `join` names, `tester`, `baseline` codes, (k,).

    Sets of one join on one baseline are averaged first, weighted by 1/own_variance. Baselines
    with a single join say nothing of a difference and are left out.

    Raises ShapeMismatch, NotFinite, NotPositive, and TooFewSets where no baseline has two joins.
    """
    values, own = np.asarray(y, dtype=np.float64), np.asarray(own_variance, dtype=np.float64)
    names, code = np.unique(np.asarray(join, dtype=np.str_), return_inverse=True)
    testers, baselines = np.asarray(tester, np.int64), np.asarray(baseline, np.int64)
    if any(a.shape != values.shape for a in (own, code, testers, baselines)):
        raise ShapeMismatch("y, own_variance, join, tester and baseline must be of one length")
    if not (np.isfinite(values).all() and np.isfinite(own).all()):
        raise NotFinite("a log efficiency or its own variance is missing")
    if (own <= 0).any():
        raise NotPositive("an own variance must be above zero")
    arms, first, arm_of_set = np.unique(
        np.column_stack((baselines, code)), axis=0, return_index=True, return_inverse=True
    )
    weight = np.bincount(arm_of_set, 1 / own)
    mean = np.bincount(arm_of_set, values / own) / weight
    baseline_of_arm, join_of_arm = arms.T
    _, start, size = np.unique(baseline_of_arm, return_index=True, return_counts=True)
    base = np.repeat(start, size)
    compared = np.flatnonzero(base != np.arange(base.size))
    if not compared.size:
        raise TooFewSets("no baseline has two joins, so nothing was compared on one rig and day")
    base = base[compared]
    return Contrasts(
        y=mean[compared] - mean[base],
        own_variance=1 / weight[compared],
        shared_variance=1 / weight[base],
        treatment=names[join_of_arm[compared]],
        base=names[join_of_arm[base]],
        tester=testers[first[compared]],
        baseline=baseline_of_arm[compared],
    )
