"""Attempts at work that is counted in its own row: jobs, pools, drawings, releases.

Each is counted before it begins, so that work which ends its process each time is not tried for
ever. What failed through no fault of its own is taken back afterwards.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import structlog
from django.db import DatabaseError, close_old_connections, connection
from django.db.models import F, QuerySet

from results.jobs.database_errors import Trouble, trouble_of

LOST_CONNECTIONS = 3
"""So often work may lose its connection without it counting: a server restarts now and then, but
what takes its connection along each time has to end as failed."""

log = structlog.get_logger(__name__)
_owed: deque[Callable[[], object]] = deque(maxlen=1000)


def excuse(rows: QuerySet[Any], attempts: str, error: Exception, **also: Any) -> bool:
    """Take the attempt back that was counted in these rows, where the database is to blame.

    ``attempts`` names their count, ``also`` is written with it. False where the attempt counts.
    """
    trouble = trouble_of(error)
    if trouble is None:
        return False
    if trouble is Trouble.AWAY:
        rows = rows.filter(excused__lt=LOST_CONNECTIONS)
        also["excused"] = F("excused") + 1
    counted = rows.filter(**{f"{attempts}__gt": 0})
    return bool(counted.update(**{attempts: F(attempts) - 1}, **also))


def keep(write: Callable[[], object]) -> None:
    """Write down how an attempt ended, or where the database can't be written to, once it can."""
    if not connection.in_atomic_block:
        close_old_connections()  # the attempt may have lost this one
    try:
        write()
    except DatabaseError as error:
        log.warning("how it ended can't be written yet", error=type(error).__name__)
        _owed.append(write)


def keep_owed() -> None:
    """Write down what this process could not before; raises where it still can't."""
    while _owed:
        _owed[0]()
        _owed.popleft()
