"""What drawn readings come to in the service's own columns: sets of a pool, and its loads."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from deploy.benchmarks.truth.hostile import Drawn, Pulled
from results.pools.estimate import Outcome, pooled_from
from results.pools.pool_data import Members
from results.statistics.censored import Strength, strengths
from results.statistics.errors import StatisticsError
from results.statistics.one_stage.one_stage import Loads

STEP_N = 0.5


def outcome_of(drawn: Drawn, join: int = 0) -> Outcome:
    """The pool of a join, as the service estimates it."""
    return pooled_from(members_of(drawn, join))


def members_of(drawn: Drawn, join: int = 0) -> Members:
    """The sets of a join whose pulls give a strength, testers numbered from 1."""
    straight = _strengths(drawn.straight, np.ones(int(drawn.session.max()) + 1, dtype=bool))
    wanted = drawn.join == join
    joined = _strengths(drawn.joined, wanted)
    rows = np.array([
        row for row in np.flatnonzero(wanted).tolist()
        if row in joined and int(drawn.session[row]) in straight
    ], dtype=np.int64)  # fmt: skip
    of_join = [joined[row] for row in rows.tolist()]
    of_line = [straight[int(drawn.session[row])] for row in rows.tolist()]
    pulls = np.bincount(drawn.joined.group, minlength=drawn.tester.size)[rows]
    return Members(
        pull_set=rows + 1,
        tester=drawn.tester[rows] + 1,
        session=drawn.session[rows] + 1,
        baseline=drawn.session[rows] + 1,
        calibration=drawn.tester[rows] + 1,
        main_line=drawn.product[rows] + 1,
        leader_line=np.zeros(rows.size, dtype=np.int64),
        hand=np.where(drawn.tyer == drawn.tester, 0, drawn.tester + 1)[rows],
        revision=drawn.tester[rows] + 1,
        club_round=np.zeros(rows.size, dtype=np.int64),
        pulls=pulls.astype(np.int64),
        mean_N=np.array([one.mean_N for one in of_join]),
        cv=np.array([one.cv for one in of_join]),
        n_effective=np.array([one.n_effective for one in of_join]),
        degrees_of_freedom=np.array([one.degrees_of_freedom for one in of_join]),
        baseline_mean_N=np.array([one.mean_N for one in of_line]),
        baseline_cv=np.array([one.cv for one in of_line]),
        baseline_n_effective=np.array([one.n_effective for one in of_line]),
        baseline_degrees_of_freedom=np.array([one.degrees_of_freedom for one in of_line]),
        resolution_N=np.full(rows.size, STEP_N),
        u_offset_N=np.full(rows.size, drawn.u_zero_N),
        gain=np.ones(rows.size),
        scale_resolution_N=np.full(rows.size, STEP_N),
        capacity_N=np.full(rows.size, np.nan),
        zero_of_pulls=np.zeros(rows.size),
        missed_peak=np.zeros(rows.size),
    )


def _strengths(pulled: Pulled, wanted: NDArray[np.bool_]) -> dict[int, Strength]:
    """By group, where there is one. A grip's load is one that was held at least."""
    group = np.array(pulled.group)
    order = np.argsort(group, kind="stable")
    order = order[wanted[group[order]]]
    numbers, sizes = np.unique(group[order], return_counts=True)
    found = strengths(
        np.array(pulled.reading_N)[order],
        np.array(pulled.parted)[order] == "grip",
        sizes,
        np.full(numbers.size, STEP_N),
    )
    return {
        int(number): one
        for number, one in zip(numbers, found, strict=True)
        if not isinstance(one, StatisticsError)
    }


def loads_of(drawn: Drawn) -> tuple[Loads, Loads, Loads]:
    """Straight line, the combination and the join itself, as the one-stage model takes them."""
    straight, joined = drawn.straight, drawn.joined
    parted = np.array(joined.parted)
    return (
        Loads(straight.reading_N, np.array(straight.parted) == "line", straight.group),
        Loads(joined.reading_N, parted != "grip", joined.group),
        Loads(joined.reading_N, parted == "join", joined.group),
    )
