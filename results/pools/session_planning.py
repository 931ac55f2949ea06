"""Planning sessions of one's own: what so many of them detect, and how many a difference takes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from results.pools.tester_vs_pool import TesterVsPool
from results.statistics.errors import StatisticsError
from results.statistics.planning import (
    difference_detectable_by_sessions,
    sessions_for_difference,
)

MOST_SESSIONS_DRAWN = 12


@dataclass(frozen=True)
class SessionsPlanned:
    """What was planned, and what it comes to.

    ``curve`` has the detectable difference, a fraction of the efficiency, of 1, 2, ... sessions;
    ``detectable`` is that of the sessions planned, and ``needed`` the sessions that the difference
    takes: None, with the reason in ``why_not``, where no number of them is enough.
    """

    difference: float
    pulls: int
    sessions: int
    curve: tuple[float, ...]
    detectable: float
    needed: int | None
    why_not: str = ""


def plan_sessions(
    standing: TesterVsPool, *, difference: float, pulls: int, sessions: int
) -> SessionsPlanned | None:
    """Plan with so many pulls a set, at the scatter of the pool's testers; nothing is stored.

    None where the pool's scatter is not estimable.
    """
    if standing.planned_by is None:
        return None
    plan = replace(standing.planned_by, pulls=pulls)
    pool = (standing.others.se_robust, standing.others.df_satterthwaite)
    try:
        drawn = max(MOST_SESSIONS_DRAWN, sessions)
        curve = [
            difference_detectable_by_sessions(number, plan, *pool) for number in range(1, drawn + 1)
        ]
    except StatisticsError:
        return None
    try:
        needed, why_not = sessions_for_difference(difference, plan, *pool), ""
    except StatisticsError as error:
        needed, why_not = None, str(error)
    detectable = curve[sessions - 1]
    return SessionsPlanned(difference, pulls, sessions, tuple(curve), detectable, needed, why_not)
