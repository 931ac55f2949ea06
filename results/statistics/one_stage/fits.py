"""A fit of the one-stage model with joined strengths of one family."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, gammaln

from results.statistics.errors import NoScatter, NotEstimable, TooFewPulls
from results.statistics.one_stage.groups import Groups
from results.statistics.one_stage.influence import Spread, spread
from results.statistics.one_stage.lognormal import LognormalPulls, pooled_sd
from results.statistics.one_stage.maximum import Near, maximum, near_maximum
from results.statistics.one_stage.propagation import Point, Pulls
from results.statistics.one_stage.tree import Tree
from results.statistics.one_stage.weibull import WeibullPulls

Floats = NDArray[np.float64]

LARGEST_LOG = 700.0


@dataclass(frozen=True)
class Fit:
    """ln of the mean load of joined over straight pulls, and what it was found with."""

    log_efficiency: float
    spread: Spread
    loglik: float
    tau: Floats
    cv_joined: float
    cv_straight: float
    weibull: bool


@dataclass(frozen=True)
class Search:
    """A search for a fit that has come close to its end."""

    pulls: Pulls
    near: Near

    @property
    def loglik(self) -> float:
        return self.near.rest.value

    @property
    def weibull(self) -> bool:
        return isinstance(self.pulls.joined, WeibullPulls)


def searched(
    tree: Tree,
    joined: Groups,
    straight: LognormalPulls,
    exact: LognormalPulls,
    beside: Search | None = None,
) -> Search:
    """Close to the fit; `exact` are the joined pulls as lognormal ones, which it starts from.

    Where `beside` is given, a search with lognormal joined strengths, it starts where that came to:
    the maxima are then a few steps apart.

    Raises NoScatter, TooFewPulls, NotEstimable and NoConvergence.
    """
    pulls = Pulls(tree, joined, straight)
    levels = _identifiable(tree)
    start = _start(tree, straight, exact, levels)
    curvature = None
    if beside is not None:
        start, curvature = beside.near.rest.point, beside.near.curvature
    if isinstance(joined, WeibullPulls):
        scale = start.scale_joined * math.sqrt(6) / math.pi
        start = Point(start.tau2, scale, start.scale_straight)
    return Search(pulls, near_maximum(pulls, start, levels, curvature))


def fitted(search: Search) -> Fit:
    """The fit that a search leads to. Raises NotEstimable and NoConvergence."""
    tree, top = search.pulls.tree, maximum(search.pulls, search.near)
    point, theta = top.rest.point, top.rest.solved.theta
    of_joined, slope, cv_joined = (_weibull_mean if search.weibull else _lognormal_mean)(
        point.scale_joined
    )
    of_straight, straight_slope, cv_straight = _lognormal_mean(point.scale_straight)
    gradient = np.array([1.0, 0.0, 0.0, 0.0, slope, -straight_slope])
    found = Fit(
        theta + of_joined - of_straight,
        spread(tree, top, gradient),
        top.rest.value,
        np.sqrt(point.tau2),
        cv_joined,
        cv_straight,
        search.weibull,
    )
    if not (abs(found.log_efficiency) < LARGEST_LOG and math.isfinite(found.spread.robust)):
        raise NotEstimable("the pulls' loads are too far apart for a mean")
    return found


def _identifiable(tree: Tree) -> NDArray[np.bool_]:
    """Which scatter the data can tell apart, (3,), as `nesting.identifiable`."""
    sessions = tree.to_session.size
    return np.array([True, sessions > tree.tester.size, tree.sets > sessions])


def _start(
    tree: Tree, straight: LognormalPulls, joined: LognormalPulls, levels: NDArray[np.bool_]
) -> Point:
    """From the exact pulls: their pooled scatter, and the moments of their sets' means."""
    of_straight = pooled_sd(straight)
    if of_straight is None:
        raise NoScatter("the straight pulls don't scatter, or too few of them parted in the line")
    of_joined = pooled_sd(joined) or of_straight
    known = joined.number > 0
    if not known.any():
        raise TooFewPulls("no joined pull parted at what is measured")
    level = straight.origin + straight.mean
    y = (joined.origin + joined.mean - level[tree.baseline_of_set])[known]
    share = max(float(np.var(y)) / 4, 1e-4 * of_joined**2)
    return Point(np.where(levels, share / levels.sum(), 0.0), of_joined, of_straight)


def _lognormal_mean(scale: float) -> tuple[float, float, float]:
    """ln of the mean load above its level, its slope in ln scale, and the CV."""
    if not scale < 10:
        raise NotEstimable("the loads scatter so widely that their mean is beyond all numbers")
    return scale**2 / 2, scale**2, math.sqrt(math.expm1(scale**2))


def _weibull_mean(scale: float) -> tuple[float, float, float]:
    if not scale < 10:
        raise NotEstimable("the loads scatter so widely that their mean is beyond all numbers")
    mean = float(gammaln(1 + scale))
    square = float(gammaln(1 + 2 * scale))
    # Rounding may take the variance of nearly equal loads below zero.
    cv = math.sqrt(max(math.expm1(square - 2 * mean), 0.0))
    return mean, scale * float(digamma(1 + scale)), cv
