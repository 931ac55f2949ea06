"""Strengths and efficiencies of the large store's sets, from their raw pulls."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from deploy.benchmarks.large_store.drawing import U_OFFSET_N, Pulls, World
from results.normalising.normalise import columns_of
from results.normalising.scales import loads_N
from results.normalising.set_figures import Shares
from results.statistics.censored import Strength, strengths
from results.statistics.efficiency import efficiency
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import MEANING, exact_for_assembly, exact_for_line
from rigs.metrology.validity import LEAST_STRAIGHT_PULLS

Tried = list[Strength | StatisticsError]
Ids = NDArray[np.int64]
Floats = NDArray[np.float64]
ExactFor = Callable[[Iterable[str]], NDArray[np.bool_]]
BEYOND_JOIN = {mode.value for mode, meaning in MEANING.items() if not meaning.exact_for_join}


def normalised(world: World) -> dict[str, list[Any]]:
    """Columns of the normalised sets; ``place`` is the set's, where it has an efficiency."""
    tester_of_set = world.session_tester[world.set_session]
    lines, exact = _strengths(world, world.straight, world.session_tester, exact_for_line)
    joins, _ = _strengths(world, world.joined, tester_of_set, exact_for_assembly)
    straight = _single(world, world.straight, world.session_tester)
    joined = _single(world, world.joined, tester_of_set)
    gain = world.testers.gain[tester_of_set].tolist()
    rows = []
    for place, (session, join) in enumerate(zip(world.set_session.tolist(), joins, strict=True)):
        baseline = lines[session] if exact[session] >= LEAST_STRAIGHT_PULLS else None
        row = _row(joined[place], straight[session], join, baseline, U_OFFSET_N / gain[place])
        if row:
            rows.append({"place": place, **row})
    return {name: [row[name] for row in rows] for name in rows[0]}


def _strengths(
    world: World, pulls: Pulls, tester_of: Ids, exact_for: ExactFor
) -> tuple[Tried, NDArray[np.intp]]:
    """The strength of each owner of pulls, and how many of its pulls are exact."""
    tester = tester_of[pulls.owner]
    testers = world.testers
    modes, of_pull = np.unique(pulls.mode, return_inverse=True)
    exact = exact_for(modes.tolist())[of_pull]
    found = strengths(
        loads_N(pulls.reading_N, testers.offset_N[tester], testers.gain[tester]),
        ~exact,
        np.bincount(pulls.owner),
        testers.of("resolution_N")[tester_of],
    )
    return found, np.bincount(pulls.owner, exact).astype(np.intp)


def _single(world: World, pulls: Pulls, tester_of: Ids) -> list[tuple[Floats, list[str]]]:
    """Loads in newtons and failure modes of each owner's pulls."""
    edges = np.flatnonzero(np.r_[True, pulls.owner[1:] != pulls.owner[:-1], True]).tolist()
    tester, testers = tester_of[pulls.owner], world.testers
    loads = loads_N(pulls.reading_N, testers.offset_N[tester], testers.gain[tester])
    modes = pulls.mode.tolist()
    return [(loads[a:b], modes[a:b]) for a, b in pairwise(edges)]


def _row(
    joined: tuple[Floats, list[str]],
    straight: tuple[Floats, list[str]],
    join: Strength | StatisticsError,
    baseline: Strength | StatisticsError | None,
    u_offset_N: float,
) -> dict[str, Any]:
    if not isinstance(join, Strength) or not isinstance(baseline, Strength):
        return {}
    try:
        ratio = efficiency(join, baseline, u_offset_N)
    except StatisticsError:
        return {}
    modes = Counter(joined[1])
    outlasted = sum(number for mode, number in modes.items() if mode in BEYOND_JOIN)
    shares, straight_shares = (
        Shares((loads / baseline.mean_N).tolist(), ended) for loads, ended in (joined, straight)
    )
    return {
        **columns_of(modes, join, baseline, ratio),
        "join_itself": {"failures": join.n - outlasted, "outlasted": outlasted},
        "pull_places": shares.places,
        "straight_places": straight_shares.places,
        "lowest_share": shares.lowest,
    }
