"""How sure a figure of the one-stage model is: a sandwich with testers as clusters.

The information alone covers too little. Each tester's influence on the figure c'phi is psi_t =
g_t'S c, with g_t the slopes of that tester's likelihood in all parameters phi and S the inverse of
their information (Huber 1967; White 1982, Econometrica 50:1-25), so that the uncertainty of
scatter, on which a censored mean depends, is in it. The variance is sum psi_t^2 / (1 - h_t), h_t
the tester's share of the information on theta: without censoring that is the closed form of CR2
(Bell & McCaffrey 2002) with the symmetric root, and its degrees of freedom are taken for Student's
t.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import NotEstimable
from results.statistics.one_stage.maximum import Maximum
from results.statistics.one_stage.propagation import Rest
from results.statistics.one_stage.tree import Tree

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Standard errors of a figure by the model and by the sandwich, and the latter's freedom."""

    model: float
    robust: float
    degrees_of_freedom: float


def spread(tree: Tree, top: Maximum, gradient: Floats) -> Spread:
    """Of the figure whose gradient (6,) in the parameters of `Maximum` is given.

    Raises NotEstimable where the information on the parameters is singular to rounding.
    """
    lean = top.covariance @ gradient
    variance = float(gradient @ lean)
    weight = top.held.solved.weight[3]
    whole = float(weight.sum())
    share = weight / whole
    if not (np.isfinite(lean).all() and variance > 0 and (share < 1).all()):
        raise NotEstimable("the pulls hold too little information for a standard error")
    influence = _scores(tree, top.held) @ lean
    robust = float(np.sqrt((influence**2 / (1 - share)).sum()))
    alpha = weight / (whole**2 * (1 - share))
    h = weight / (whole * np.sqrt(1 - share))
    trace = alpha.sum() - (h**2).sum() / whole
    square = (alpha**2).sum() - 2 * (alpha * h**2).sum() / whole + ((h**2).sum() / whole) ** 2
    return Spread(float(np.sqrt(variance)), robust, float(trace**2 / square))


def _scores(tree: Tree, held: Rest) -> Floats:
    """Slopes (T, 6) of each tester's ln likelihood at a given theta, less a T-th of their sum.

    What is left of the sum comes of the restricted likelihood, whose maximum this is.
    """
    of_tester, of_session, of_set = held.solved.scores()

    def summed(part: Floats, tester: NDArray[np.intp]) -> Floats:
        return np.asarray(np.bincount(tester, part, minlength=tree.tester.size), dtype=np.float64)

    found = np.stack(
        (
            held.solved.pull[3],
            of_tester,
            summed(of_session, tree.tester_of_session),
            summed(of_set, tree.tester_of_set),
            summed(held.slope_joined, tree.tester_of_set),
            summed(held.slope_straight, tree.tester_of_baseline),
        ),
        axis=1,
    )
    return np.asarray(found - found.mean(axis=0))
