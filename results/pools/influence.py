"""Influence: how far a pool moves without a set or a group of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.models import NormalisedSet
from results.pools.estimate import Fit, Outcome, fit_from, pooled_from
from results.pools.pool_data import Members, members_of

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class WithAndWithout:
    """What the pool of a set comes to with it counted, and without."""

    with_it: Outcome
    without_it: Outcome

    @property
    def shift(self) -> float | None:
        """Change of the log of the pooled efficiency; None where either has no pooled figure."""
        counted, left_out = self.with_it.pooled, self.without_it.pooled
        return counted.mu - left_out.mu if counted and left_out else None


def with_and_without(normalised: NormalisedSet) -> WithAndWithout:
    """The set's pool as of now, with the set and without it; nothing is stored."""
    members = members_of(normalised.pool_id, also=[normalised.pull_set_id])
    return WithAndWithout(
        pooled_from(members), pooled_from(members.without_set(normalised.pull_set_id))
    )


def pool_shift(normalised: NormalisedSet) -> float | None:
    """The shift alone, at a small part of the cost."""
    members = members_of(normalised.pool_id, also=[normalised.pull_set_id])
    counted = fit_from(members)
    left_out = fit_from(members.without_set(normalised.pull_set_id))
    return counted.mu - left_out.mu if counted and left_out else None


@dataclass(frozen=True)
class Moved:
    """How far some sets move the log of a pool's figure, and the figure without them."""

    shift: float
    without: Fit


def without_and_with(members: Members, judged: Rows) -> Moved | None:
    """What the ``judged`` rows, (k,), of a pool's members move; None without a figure to move."""
    without = fit_from(members.where(~judged))
    counted = fit_from(members) if without else None
    return Moved(counted.mu - without.mu, without) if counted and without else None


def largest_shift(members: Members, judged: Rows) -> float:
    """A bound on what the ``judged`` rows, (k,), move, at a small part of a fit's cost.

    The fit's weights lie between those of the pulls alone and one for each tester; so does a
    mean, with the rows and without. Infinite where fewer than two testers are left.
    """
    left = members.where(~judged)
    if np.unique(left.tester).size < 2:
        return math.inf
    with_them, without = _extreme_means(members), _extreme_means(left)
    return max(abs(one - other) for one in with_them for other in without)


def largest_share(others: Members, one: NormalisedSet) -> float:
    """A bound on the part of its own change by which a set changes the mean with these others."""
    by_pulls = one.n_effective / (one.n_effective + float(others.n_effective.sum()))
    return max(1 / (np.unique(others.tester).size + 1), by_pulls)


def _extreme_means(members: Members) -> tuple[float, float]:
    ratios = np.log(members.mean_N / members.baseline_mean_N)
    _, tester, sets = np.unique(members.tester, return_inverse=True, return_counts=True)
    by_tester = np.bincount(tester, ratios) / sets
    return float(by_tester.mean()), float(np.average(ratios, weights=members.n_effective))
