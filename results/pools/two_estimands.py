"""What line and join hold together, and the join itself, by one model on all pulls of a pool."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from results.normalising.scales import loads_N
from results.pools.estimate import efficiency_of
from results.pools.pool_data import Members
from results.pools.pulls_behind import BATCH, counted_pulls, scales_of, straight_together
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import exact_for_assembly, exact_for_join, exact_for_line
from results.statistics.one_stage.one_stage import Estimate, Loads, OneStage, one_stage

DIGITS = 6
"""Decimals of an efficiency that are kept: the search for the maximum ends within fewer than one of
the seventh, and figures computed again have to be the same."""


def two_estimands(members: Members) -> dict[str, Any]:
    """Both efficiencies with their intervals, and why one is missing, from the members' pulls."""
    try:
        found = _fitted(members)
    except StatisticsError as error:
        found = OneStage(None, None, None, {"all": str(error)})
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


def _fitted(members: Members) -> OneStage:
    scales, parts = _scales_and_parts(members)
    # All baselines of one line, spool and session are one; the first stands for them.
    baseline = np.array([each[0] for each in parts], dtype=np.int64)
    joined = _pulled("pull_set_id", members.pull_set)
    order = np.argsort(members.pull_set)
    place = order[np.searchsorted(members.pull_set, joined[0], sorter=order)]
    load_N = _loads_N(joined[1], scales[place])
    first = np.unique(baseline, return_index=True)
    of_part = {pk: at for at in first[1].tolist() for pk in parts[at]}
    straight = _pulled("baseline_id", np.array([*of_part], dtype=np.int64))
    line = np.array([of_part[pk] for pk in straight[0].tolist()], dtype=np.intp)
    return one_stage(
        members.tester,
        members.session,
        baseline,
        Loads(_loads_N(straight[1], scales[line]), exact_for_line(straight[2]), baseline[line]),
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
