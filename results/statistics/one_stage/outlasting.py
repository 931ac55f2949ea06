"""How strong a join is at least that (almost) always outlasts what it is pulled with.

With hardly a failure at the join the likelihood tells neither its scatter nor a mean; it only falls
where the join would be too weak to have outlasted so much. The bound is where twice the loss of ln
likelihood reaches 2.71, chi-square's point for one side at 95 percent, the lower one of two: with
testers all alike, and with testers that scatter by a tenth. The join's pulls scatter there as the
straight line's do: a join that scatters more must be stronger still to have outlasted as much. Of
failures that show a scatter of their own the bound with that scatter is taken where it is lower.
"""

import math

import numpy as np

from results.statistics.errors import NoScatter
from results.statistics.one_stage.lognormal import LognormalPulls, pooled_sd
from results.statistics.one_stage.propagation import Point, Pulls, Rest, at_rest, started
from results.statistics.one_stage.tree import Tree
from results.statistics.roots import root_beyond

LEAST_FAILURES = 3
"""At the join in the whole pool; below, no estimate. Common practice, no source."""

CLOSE = 1e-8
ONE_SIDED_95 = 2.705543454095404
WIDE = 0.1
"""Scatter between testers, of ln efficiency: more than is usual. Common practice, no source."""


FAR = 10.0  # scatters above the highest pull, where all outlast


def lower_bound(tree: Tree, joined: LognormalPulls, straight: LognormalPulls) -> float:
    """95 percent lower bound of the join's own log efficiency. Raises NoScatter, NoConvergence."""
    scale = pooled_sd(straight)
    if scale is None:
        raise NoScatter("the straight pulls don't scatter, or too few of them parted in the line")
    failed = bool(joined.number.any())
    pulls = Pulls(tree, joined, straight)
    highest = _highest(tree, joined, straight)
    points = [
        Point(np.array([tau**2, 0.0, 0.0]), of_joined, scale)
        for of_joined in {scale, pooled_sd(joined) or scale}
        for tau in (0.0, WIDE)
    ]
    return min(_bound(pulls, failed, highest, point) for point in points)


def _bound(pulls: Pulls, failed: bool, highest: float, point: Point) -> float:
    widest = max(point.scale_joined, point.scale_straight)
    step = (widest + math.sqrt(point.tau2[0])) / 2
    above = highest + FAR * 2 * step
    states = started(pulls, point)

    def below(distance: float) -> Rest:
        nonlocal states
        found = at_rest(pulls, point, states, above - distance, CLOSE)
        states = found.states
        return found

    greatest = 0.0
    if failed:
        # The likelihood is greatest where a failure is as likely as it ought to be.
        greatest = root_beyond(lambda far: -float(below(far).solved.pull[3].sum()), 0.0, step)
    least = below(greatest).value - ONE_SIDED_95 / 2
    return above - root_beyond(lambda far: below(far).value - least, greatest, step)


def _highest(tree: Tree, joined: LognormalPulls, straight: LognormalPulls) -> float:
    """The highest ln of a joined pull over its straight line, or zero."""
    level = (straight.origin + straight.mean)[tree.baseline_of_set]
    bound = joined.origin[joined.group] + joined.bound - level[joined.group]
    return float(max(bound.max(initial=0.0), 0.0))
