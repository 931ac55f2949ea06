"""How strong a join is at least that (almost) always outlasts what it is pulled with.

With hardly a failure at the join the likelihood tells neither its scatter nor a mean; it only falls
where the join would be too weak to have outlasted so much. The bound is where twice the loss of ln
likelihood reaches 2.71, chi-square's point for one side at 95 percent, the lower one of two: with
testers all alike, and with testers that scatter by a tenth. The join's pulls scatter there as the
straight line's do: a join that scatters more must be stronger still to have outlasted as much.
"""

import numpy as np

from results.statistics.errors import NoScatter
from results.statistics.one_stage.lognormal import LognormalPulls, pooled_sd
from results.statistics.one_stage.propagation import Point, Pulls, Rest, at_rest, started
from results.statistics.one_stage.tree import Tree
from results.statistics.roots import root_between

LEAST_FAILURES = 3
"""At the join in the whole pool; below, no estimate. Common practice, no source."""

CLOSE = 1e-8
ONE_SIDED_95 = 2.705543454095404
WIDE = 0.1
"""Scatter between testers, of ln efficiency: more than is usual. Common practice, no source."""


FAR = 10.0  # scatters above the straight line, where all outlast


def lower_bound(tree: Tree, joined: LognormalPulls, straight: LognormalPulls) -> float:
    """95 percent lower bound of the join's own log efficiency. Raises NoScatter, NoConvergence."""
    scale = pooled_sd(straight)
    if scale is None:
        raise NoScatter("the straight pulls don't scatter, or too few of them parted in the line")
    failed = bool(joined.number.any())
    pulls = Pulls(tree, joined, straight)
    return min(_bound(pulls, failed, scale, tau) for tau in (0.0, WIDE))


def _bound(pulls: Pulls, failed: bool, scale: float, tau: float) -> float:
    point, step = Point(np.array([tau**2, 0.0, 0.0]), scale, scale), (scale + tau) / 2
    here = at_rest(pulls, point, started(pulls, point), FAR * 2 * step, CLOSE)

    def at(theta: float) -> Rest:
        return at_rest(pulls, point, here.states, theta, CLOSE)

    def slope(theta: float) -> float:
        return float(at(theta).solved.pull[3].sum())

    if failed:
        # The likelihood is greatest where a failure is as likely as it ought to be.
        while float(here.solved.pull[3].sum()) < 0:
            here = at(here.solved.theta - step)
        theta = here.solved.theta
        here = at(root_between(slope, theta, theta + step))
    least = here.value - ONE_SIDED_95 / 2
    while here.value > least:
        here = at(here.solved.theta - step)
    theta = here.solved.theta
    return root_between(lambda there: at(there).value - least, theta, theta + step)
