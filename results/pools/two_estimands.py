"""What line and join hold together, and the join itself, by one model on all pulls of a pool.

And what the join itself holds set by set, by that model's scatter.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from results.normalising.scales import loads_N
from results.pools.estimate import efficiency_of
from results.pools.pool_data import Members, within
from results.pools.pulls_behind import BATCH, counted_pulls, scales_of, straight_together
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import exact_for_assembly, exact_for_join, exact_for_line
from results.statistics.one_stage.one_stage import Estimate, Loads, OneStage, one_stage
from results.statistics.own_strengths import OwnStrengths, Scatter, Straight, own_strengths

DIGITS = 6
"""Decimals of an efficiency that are kept: the search for the maximum ends within fewer than one of
the seventh, and figures computed again have to be the same."""


@dataclass(frozen=True)
class _Pulls:
    """Pulls of a pool in newtons: straight ones by baseline, joined ones by place of their set."""

    baseline: NDArray[np.int64]
    straight: Loads
    combination: Loads
    join: Loads


def by_one_model(members: Members) -> dict[str, Any]:
    """Two findings: both efficiencies of the pool, and the join itself set by set."""
    pulls = _pulls_of(members)
    try:
        found = one_stage(
            members.tyers.tyer,
            members.tyers.session,
            pulls.baseline,
            pulls.straight,
            pulls.combination,
            pulls.join,
        )
    except StatisticsError as error:
        found = OneStage(None, None, None, {"all": str(error)})
    return {
        "one_stage": _two_estimands(found),
        "own_strengths": _by_set(*own_strengths_of(members, pulls.join, found.join)),
    }


def own_strengths_of(
    members: Members, join: Loads, pool: Estimate | None
) -> tuple[Members, OwnStrengths | None]:
    """What the join itself holds in the sets that outlasted something, and these sets.

    ``join`` are the joined pulls by place of their set among ``members``, ``pool`` what the pool
    came to; None where that doesn't tell how joins scatter.
    """
    group, exact = np.asarray(join.group), np.asarray(join.exact)
    outlasted = np.unique(group[~exact])
    of_them = np.isin(group, outlasted)
    some = members.where(np.isin(np.arange(len(members)), outlasted))
    if pool is None:
        return some, None
    straight = Straight(
        some.baseline_mean_N,
        some.baseline_cv,
        some.baseline_cv / np.sqrt(some.baseline_n_effective),
        some.baseline_degrees_of_freedom,
    )
    try:
        found = own_strengths(
            np.asarray(join.load_N)[of_them],
            exact[of_them],
            np.searchsorted(outlasted, group[of_them]),
            straight,
            Scatter(pool.cv_joined, pool.exact, pool.weibull),
        )
    except StatisticsError:
        return some, None
    return some, found


def _by_set(sets: Members, found: OwnStrengths | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "pull_set": sets.pull_set.tolist(),
        "failures": found.failures.tolist(),
        "efficiency": [_rounded(each) for each in found.log_efficiency.tolist()],
        "interval_low": [_rounded(each) for each in found.low.tolist()],
        "interval_high": [_rounded(each) for each in found.high.tolist()],
    }


def _two_estimands(found: OneStage) -> dict[str, Any]:
    """Both efficiencies with their intervals, and why one is missing."""
    bound = found.join_outlasts
    return {
        "combination": _described(found.combination),
        "join": _described(found.join),
        "join_outlasts": None if bound is None else _rounded(bound),
        "not_estimable": found.not_estimable,
    }


def _described(found: Estimate | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "efficiency": _rounded(found.log_efficiency),
        "interval_low": _rounded(found.low),
        "interval_high": _rounded(found.high),
        "exact": found.exact,
        "pulls": found.pulls,
    }


def _rounded(log_efficiency: float) -> float | None:
    efficiency = efficiency_of(log_efficiency)
    return None if efficiency is None else round(efficiency, DIGITS)


def _pulls_of(members: Members) -> _Pulls:
    scales, parts = _scales_and_parts(members)
    tyers = members.tyers
    # All baselines of one line, spool and session are one; the first stands for them, and is one
    # more for each other who tied against it.
    baseline = within(tyers.tyer, np.array([each[0] for each in parts], dtype=np.int64))
    joined = _pulled("pull_set_id", members.pull_set)
    order = np.argsort(members.pull_set)
    place = order[np.searchsorted(members.pull_set, joined[0], sorter=order)]
    load_N = _loads_N(joined[1], scales[place])
    of_part: dict[int, list[int]] = defaultdict(list)
    for at in np.unique(baseline, return_index=True)[1].tolist():
        for pk in parts[at]:
            of_part[pk].append(at)
    straight = _pulled("baseline_id", np.array([*of_part], dtype=np.int64))
    of_pull = [of_part[pk] for pk in straight[0].tolist()]
    line = np.array([at for of_one in of_pull for at in of_one], dtype=np.intp)
    taken = np.repeat(np.arange(len(of_pull)), [len(of_one) for of_one in of_pull])
    return _Pulls(
        baseline,
        Loads(
            _loads_N(straight[1][taken], scales[line]),
            exact_for_line(straight[2])[taken],
            baseline[line],
        ),
        Loads(load_N, exact_for_assembly(joined[2]), place),
        Loads(load_N, exact_for_join(joined[2]), place),
    )


def _scales_and_parts(members: Members) -> tuple[NDArray[np.float64], list[list[int]]]:
    scales, parts = [], []
    for start in range(0, len(members), BATCH):
        some = slice(start, start + BATCH)
        scales.append(scales_of(members.calibration[some].tolist()))
        parts += straight_together(members.baseline[some].tolist())[1]
    return np.concatenate(scales), parts


def _pulled(
    parent: str, owners: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64], list[str]]:
    """As `counted_pulls`, in batches."""
    found = [
        counted_pulls(parent, owners[start : start + BATCH].tolist())
        for start in range(0, owners.size, BATCH)
    ]
    owner, reading_N, mode = zip(*found, strict=True)
    return (
        np.concatenate(owner),
        np.concatenate(reading_N),
        [each for of_batch in mode for each in of_batch],
    )


def _loads_N(readings_N: NDArray[np.float64], scales: NDArray[np.float64]) -> NDArray[np.float64]:
    return loads_N(readings_N, scales[:, 0], scales[:, 1])
