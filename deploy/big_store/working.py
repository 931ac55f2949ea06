"""Strengths and efficiencies of the large store's sets, from their raw pulls."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from deploy.big_store.drawing import U_OFFSET_N, Pulls, World
from results.statistics.censored import Strength, strength
from results.statistics.efficiency import efficiency
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import exact_for_assembly, exact_for_join, exact_for_line
from rigs.metrology.validity import LEAST_STRAIGHT_PULLS

Floats = NDArray[np.float64]
PROCESSES = 2


def normalised(world: World) -> dict[str, list[Any]]:
    """Columns of the normalised sets; ``place`` is the set's, where it has an efficiency."""
    sessions = world.session_tester.size
    edges = np.linspace(0, sessions, PROCESSES + 1).astype(int)
    with ProcessPoolExecutor(PROCESSES) as pool:
        parts = list(pool.map(_part, [world] * PROCESSES, edges[:-1], edges[1:]))
    return {name: [row for part in parts for row in part[name]] for name in parts[0]}


def _part(world: World, first: int, last: int) -> dict[str, list[Any]]:
    """The sets of the sessions from ``first`` to before ``last``."""
    loads = _loads(world, world.straight, world.session_tester)
    joined = _loads(world, world.joined, world.session_tester[world.set_session])
    step = world.testers.of("resolution_N")
    starts = _starts(world.straight)
    set_starts = _starts(world.joined)
    rows = []
    before = -1
    baseline: Strength | None = None
    begin, end = np.searchsorted(world.set_session, [first, last])
    for place in range(begin, end):
        session = int(world.set_session[place])
        tester = int(world.session_tester[session])
        if session != before:
            of = slice(starts[session], starts[session + 1])
            baseline = _straight(loads[of], world.straight.mode[of].tolist(), step[tester])
            before = session
        of = slice(set_starts[place], set_starts[place + 1])
        modes = world.joined.mode[of].tolist()
        row = _row(joined[of], modes, baseline, step[tester], world.testers.gain[tester])
        if row:
            rows.append({"place": place, **row})
    return {name: [row[name] for row in rows] for name in rows[0]}


def _loads(world: World, pulls: Pulls, tester_of: NDArray[np.int64]) -> Floats:
    tester = tester_of[pulls.owner]
    loads: Floats = (pulls.reading_N - world.testers.offset_N[tester]) / world.testers.gain[tester]
    return loads


def _starts(pulls: Pulls) -> NDArray[np.int64]:
    return np.flatnonzero(np.r_[True, pulls.owner[1:] != pulls.owner[:-1], True])


def _straight(loads_N: Floats, modes: list[str], step_N: float) -> Strength | None:
    exact = exact_for_line(modes)
    if exact.sum() < LEAST_STRAIGHT_PULLS:
        return None
    try:
        return strength(loads_N, ~exact, step_N)
    except StatisticsError:
        return None


def _row(
    loads_N: Floats, modes: list[str], baseline: Strength | None, step_N: float, gain: float
) -> dict[str, Any]:
    if baseline is None:
        return {}
    try:
        join = strength(loads_N, ~exact_for_assembly(modes), step_N)
        ratio = efficiency(join, baseline, U_OFFSET_N / gain)
    except StatisticsError:
        return {}
    outlasted = int((~exact_for_join(modes)).sum())
    return {
        "pulls": len(modes),
        "counted": join.n,
        "failure_modes": dict(Counter(modes)),
        "mean_N": join.mean_N,
        "cv": join.cv,
        "n_effective": join.n_effective,
        "degrees_of_freedom": join.degrees_of_freedom,
        "baseline_counted": baseline.n,
        "baseline_mean_N": baseline.mean_N,
        "baseline_cv": baseline.cv,
        "baseline_n_effective": baseline.n_effective,
        "baseline_degrees_of_freedom": baseline.degrees_of_freedom,
        "log_ratio": ratio.log_ratio,
        "own_variance": ratio.own_variance,
        "shared_variance": ratio.shared_variance,
        "efficiency": ratio.ratio,
        "interval_low": ratio.fieller_low,
        "interval_high": ratio.fieller_high,
        "interval_open": ratio.interval_open or "",
        "u_offset_log": ratio.offset_log_uncertainty,
        "join_itself": {"failures": join.n - outlasted, "outlasted": outlasted},
    }
