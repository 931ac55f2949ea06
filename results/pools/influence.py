"""Influence: how far a pool moves without a set or a group of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.models import NormalisedSet, ReviewCase
from results.models.lifecycle import COUNTING
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


def renew_shifts(pool_id: int) -> None:
    """Store how far each open case moves this pool as it stands now.

    The figures of `pool_shift`, so that a queue sorted by them says what each case says. One fit a
    case, and one for all those that do not count; nothing is locked.
    """
    cases = ReviewCase.objects.still_open().filter(pull_set__normalised__pool=pool_id)
    stored = {
        pk: (state, shift)
        for pk, state, shift in cases.values_list("pk", "pull_set__state", "pool_shift")
    }
    if not stored:
        return
    members = members_of(pool_id, also=list(stored))
    apart = [pk for pk, (state, _shift) in stored.items() if state not in COUNTING]
    counted = ~np.isin(members.pull_set, apart)
    without_those = fit_from(members.where(counted))
    for pk, (state, before) in stored.items():
        one = members.pull_set == pk
        with_it = without_those if state in COUNTING else fit_from(members.where(counted | one))
        left = without_those if pk in apart else fit_from(members.where(counted & ~one))
        shift = with_it.mu - left.mu if with_it and left else None
        if shift != before:
            ReviewCase.objects.filter(pk=pk).update(pool_shift=shift)


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


def moved_together(pool_id: int, pull_sets: Sequence[int]) -> Moved | None:
    """What these sets move the pool by as it stands now, all at once; None without a figure."""
    members = members_of(pool_id, also=pull_sets)
    return without_and_with(members, np.isin(members.pull_set, list(pull_sets)))


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
