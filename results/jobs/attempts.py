"""Attempts at work whose count is in its own row: jobs, pools, drawings, releases.

An attempt is counted before it begins, so that work which kills its process each time is not
retried for ever. An attempt that failed because of the database is taken back afterwards.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import structlog
from django.db import DatabaseError, close_old_connections, connection
from django.db.models import F, QuerySet

from results.jobs.database_errors import DatabaseFault, database_fault

LOST_CONNECTIONS = 3
"""Lost connections that don't count as attempts: a server restarts now and then, but work that
kills its connection each time must end as failed."""

log = structlog.get_logger(__name__)
_deferred: deque[Callable[[], object]] = deque(maxlen=1000)


def excuse(rows: QuerySet[Any], attempts: str, error: Exception, **also: Any) -> bool:
    """Take back the attempt counted in these rows if the database is to blame for the error.

    ``attempts`` names the column with their count; ``also`` is written with it. False if the
    attempt counts.
    """
    fault = database_fault(error)
    if fault is None:
        return False
    if fault is DatabaseFault.UNREACHABLE:
        rows = rows.filter(excused__lt=LOST_CONNECTIONS)
        also["excused"] = F("excused") + 1
    counted = rows.filter(**{f"{attempts}__gt": 0})
    return bool(counted.update(**{attempts: F(attempts) - 1}, **also))


def write_or_defer(write: Callable[[], object]) -> None:
    """Record how an attempt ended; if the database can't be written to, as soon as it can."""
    if not connection.in_atomic_block:
        close_old_connections()  # the attempt may have lost this one
    try:
        write()
    except DatabaseError as error:
        log.warning("outcome of an attempt can't be written yet", error=type(error).__name__)
        _deferred.append(write)


def flush_deferred_writes() -> None:
    """Write what this process had to defer; raises ``DatabaseError`` if it still can't."""
    while _deferred:
        _deferred[0]()
        _deferred.popleft()
