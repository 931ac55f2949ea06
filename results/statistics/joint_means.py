"""How the means of several joins vary together, by the testers that their pools share.

A tester's score is what it adds to the error of a pool's mean: the terms whose squares sum to the
CR2 variance (Bell & McCaffrey 2002, Survey Methodology 28:169-181, in closed form for an
intercept). Scores of one tester in two pools multiply to the covariance of the two means. With few
testers that of each pair is little known, so that one correlation of a tester's errors is taken
from all pairs together, steadied by the usual one where there are few, and each pair's follows from
how much of the two pools the shared testers weigh.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import ShapeMismatch, TooFewSets
from results.statistics.pool_fit import PoolFit

Floats = NDArray[np.float64]

STEADYING = 4.0
"""Degrees of freedom that what all joins have in common weighs beside a join's own."""
USUAL_CORRELATION = 0.5
"""Of the errors of two joins by one tester, who has rig, days and straight line in common."""
ALMOST_ONE = 0.99


@dataclass(frozen=True)
class TesterScores:
    """Each tester's part in the error of a pool's mean, and weight in the mean, arrays (T,)."""

    tester: NDArray[np.int64]
    score: Floats
    weight: Floats


def scores_by_tester(fit: PoolFit) -> TesterScores:
    """The scores of a pool's testers."""
    likelihood = fit.best.likelihood
    variance = float(likelihood.covariance[0, 0])
    _, precision, product = fit.model.towards_testers(fit.best.theta)
    weight = variance * precision
    residual = variance * (product - float(likelihood.beta[0]) * precision)
    left = np.sqrt(np.maximum(1 - weight, 1 - ALMOST_ONE))
    return TesterScores(fit.model.nesting.testers, residual / left, weight)


def correlation_of_means(pools: Sequence[TesterScores]) -> Floats:
    """The correlation of J pools' means, (J, J); nothing is shared by pools without one tester.

    Raises TooFewSets for none.
    """
    if not pools:
        raise TooFewSets("there is no pool whose mean could vary with another's")
    testers = np.unique(np.concatenate([pool.tester for pool in pools]))
    score, weight = np.zeros((2, len(pools), testers.size))
    for place, pool in enumerate(pools):
        at = np.searchsorted(testers, pool.tester)
        score[place, at], weight[place, at] = pool.score, pool.weight
    there = (weight > 0).astype(np.float64)
    squares = score**2 @ there.T
    pairs = np.triu_indices(len(pools), 1)
    size = np.sqrt(squares * squares.T)[pairs].sum()
    freedom = np.maximum((there @ there.T)[pairs] - 1, 0).sum()
    common = (score @ score.T)[pairs].sum() / size if size > 0 else 0.0
    common = min(max(common, 0.0), ALMOST_ONE)
    common = (freedom * common + STEADYING * USUAL_CORRELATION) / (freedom + STEADYING)
    length = np.sqrt((weight**2).sum(axis=1))
    found = common * (weight @ weight.T) / np.outer(length, length)
    np.fill_diagonal(found, 1.0)
    return np.asarray(found)


def steadied(error: Floats, degrees_of_freedom: Floats, testers: Floats) -> tuple[Floats, float]:
    """Standard errors of J means and their common degrees of freedom, all arguments (J,).

    What one tester varies by is averaged with that of all joins (as Smyth 2004, Statistical
    Applications in Genetics and Molecular Biology 3:3, with a prior weight that is set). Raises
    ShapeMismatch, and TooFewSets for none.
    """
    if not error.shape == degrees_of_freedom.shape == testers.shape:
        raise ShapeMismatch("errors, degrees of freedom and testers differ in number")
    if not error.size:
        raise TooFewSets("there is no mean whose error could be steadied")
    of_one = error**2 * testers
    usual = float(np.average(of_one, weights=degrees_of_freedom))
    mixed = (degrees_of_freedom * of_one + STEADYING * usual) / (degrees_of_freedom + STEADYING)
    return np.sqrt(mixed / testers), float(degrees_of_freedom.mean()) + STEADYING
