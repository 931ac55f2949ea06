"""The likelihood of pulls that are in part only 'at least', by expectation propagation.

Each group of pulls (the straight ones of a baseline, the joined ones of a set) is stood in for by a
normal 'site' for its level: exactly where all its pulls are exact, and otherwise by the site that
gives the level the mean and variance which the pulls themselves give it beside all the rest
(Minka 2001; Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, 3.6). The sites'
means are then the values of a normal nested model, solved in O(sets). At rest the slopes of the
likelihood in the parameters are those with the sites held (Seeger 2005).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import NoConvergence
from results.statistics.one_stage.groups import Groups, Normals, State
from results.statistics.one_stage.tree import Solved, Tree, solve

Floats = NDArray[np.float64]

ROUNDS = 200
NOTHING = 1e-12  # of a site's precision
LEAST_SPREAD = 1e-8  # variance of a cavity, in that of a pull
SHRINKING, SLOWER, SLOWEST = 0.6, 0.7, 0.4  # shares of a step, where steps swing to and fro


@dataclass(frozen=True)
class Point:
    """tau2 (3,) of tester, session and set; scales of ln load of joined and straight pulls."""

    tau2: Floats
    scale_joined: float
    scale_straight: float


@dataclass(frozen=True)
class Pulls:
    """Joined pulls by set and straight pulls by baseline, in the order of the tree."""

    tree: Tree
    joined: Groups
    straight: Groups


@dataclass(frozen=True)
class Rest:
    """The sites at rest at a point, and what the pool comes to with them.

    `value` is ln likelihood; `slope_joined` (k,) and `slope_straight` (J,) are the groups' parts of
    its slopes in ln scale; those in tau2 are `solved.scores()`.
    """

    point: Point
    states: tuple[State, State]
    solved: Solved
    value: float
    slope_joined: Floats
    slope_straight: Floats

    @property
    def slope(self) -> Floats:
        """Slope (5,) in tau2 of tester, session, set, and ln of the scales."""
        levels = [float(part.sum()) for part in self.solved.scores()]
        return np.array([*levels, self.slope_joined.sum(), self.slope_straight.sum()])


def started(pulls: Pulls, point: Point) -> tuple[State, State]:
    """Sites to begin with."""
    return pulls.joined.start(point.scale_joined), pulls.straight.start(point.scale_straight)


def at_rest(
    pulls: Pulls,
    point: Point,
    states: tuple[State, State],
    theta: float | None,
    tolerance: float = 1e-9,
) -> Rest:
    """The likelihood at a point; `theta` None and all levels of straight line have a flat prior.

    Raises NoConvergence where the sites don't come to rest.
    """
    joined, straight = states
    apart, share = np.inf, 1.0
    for _ in range(ROUNDS):
        solved, of_joined, of_straight = _beside(pulls, point, joined, straight, theta)
        next_joined, far = pulls.joined.renewed(point.scale_joined, joined, of_joined, share)
        next_straight, far_straight = pulls.straight.renewed(
            point.scale_straight, straight, of_straight, share
        )
        far = max(far, far_straight)
        if far <= tolerance:
            value, slope = pulls.joined.outcome(point.scale_joined, joined, of_joined)
            of_line, line_slope = pulls.straight.outcome(
                point.scale_straight, straight, of_straight
            )
            total = solved.value + float(value.sum()) + float(of_line.sum())
            return Rest(point, (joined, straight), solved, total, slope, line_slope)
        share = share if far < SHRINKING * apart else max(share * SLOWER, SLOWEST)
        joined, straight, apart = next_joined, next_straight, far
    raise NoConvergence(f"the pulls' normal stand-ins did not come to rest in {ROUNDS} rounds")


def _beside(
    pulls: Pulls, point: Point, joined: State, straight: State, theta: float | None
) -> tuple[Solved, Normals, Normals]:
    """The model solved, and each level by all but its own pulls: of sets, and of baselines."""
    tree = pulls.tree
    mean, variance = pulls.joined.site(point.scale_joined, joined)
    line, line_variance = pulls.straight.site(point.scale_straight, straight)
    of_set = line[tree.baseline_of_set]
    solved = solve(tree, mean - of_set, variance, line_variance, point.tau2, theta)
    weight = np.maximum(solved.weight[1], NOTHING / line_variance)
    return (
        solved,
        (of_set + solved.middle, np.maximum(solved.spread, LEAST_SPREAD * point.scale_joined**2)),
        (
            line + solved.pull[1] / weight,
            np.maximum(1 / weight - line_variance, LEAST_SPREAD * point.scale_straight**2),
        ),
    )
