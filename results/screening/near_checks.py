"""The checks of near copies: of each series, and of a session's series together."""

from __future__ import annotations

import math
from collections import defaultdict

from results.screening.shapes import Near, NearCopies, Series
from results.screening.thresholds import tuned
from results.statistics.screening import near_copies
from results.statistics.screening.check import Check


def of_series(near: NearCopies) -> list[tuple[Check, Series]]:
    """A check of each series that is near another one, with the series."""
    by_own: dict[tuple[int | None, int | None], list[Near]] = defaultdict(list)
    for one in near.found:
        by_own[one.own.pull_set_id, one.own.baseline_id].append(one)
    checks = []
    for rows in by_own.values():
        own = rows[0].own
        found = [(one.other.name, one.log_chance, one.compared) for one in rows]
        subject = "the set" if own.pull_set_id is not None else "straight line"
        check = tuned(near_copies.near_copy)(subject, found, len(own.readings_N))
        if check is not None:
            checks.append((check, own))
    return checks


def of_session(near: NearCopies) -> Check | None:
    """The session beside the earlier one whose series its own are nearest to together."""
    by_session: dict[int, dict[tuple[int | None, int | None], Near]] = defaultdict(dict)
    for one in near.found:
        if one.other.session_id == one.own.session_id:
            continue
        nearest = by_session[one.other.session_id]
        own = one.own.pull_set_id, one.own.baseline_id
        if own not in nearest or one.log_chance < nearest[own].log_chance:
            nearest[own] = one
    checks = []
    for session_id, nearest in by_session.items():
        chances = [min(0.0, one.log_chance + math.log(near.series)) for one in nearest.values()]
        check = tuned(near_copies.near_session)(
            "the session",
            chances,
            near.series,
            sum(len(one.own.readings_N) for one in nearest.values()),
            near.sessions,
            f"session {session_id}",
        )
        if check is not None:
            checks.append(check)
    return min(checks, key=lambda check: check.figure, default=None)
