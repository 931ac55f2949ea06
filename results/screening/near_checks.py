"""The checks of near copies: of each series, and of a session's series together."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator

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
    checks = [check for check in (*_by_factor(near), *_together(near)) if check is not None]
    return min(checks, key=lambda check: (-check.level, check.figure), default=None)


def _by_factor(near: NearCopies) -> Iterator[Check | None]:
    """The session beside each earlier one of like shapes, as that one times one factor."""
    for name, rows in _by_session(near.of_like_shape):
        yield tuned(near_copies.session_times_a_factor)(
            "the session",
            [(one.own.readings_N, one.other.readings_N) for one in rows],
            near.sessions,
            name,
        )


def _together(near: NearCopies) -> Iterator[Check | None]:
    for name, rows in _by_session(near.found):
        nearest: dict[tuple[int | None, int | None], Near] = {}
        for one in rows:
            own = one.own.pull_set_id, one.own.baseline_id
            if own not in nearest or one.log_chance < nearest[own].log_chance:
                nearest[own] = one
        chances = [min(0.0, one.log_chance + math.log(near.series)) for one in nearest.values()]
        yield tuned(near_copies.near_session)(
            "the session",
            chances,
            near.series,
            sum(len(one.own.readings_N) for one in nearest.values()),
            near.sessions,
            name,
        )


def _by_session(found: Iterable[Near]) -> Iterator[tuple[str, list[Near]]]:
    """What was found by the session that it is of, but the own one, and what that is called."""
    rows: dict[int, list[Near]] = defaultdict(list)
    for one in found:
        if one.other.session_id != one.own.session_id:
            rows[one.other.session_id].append(one)
    for session_id, of_it in rows.items():
        yield f"session {session_id}", of_it
