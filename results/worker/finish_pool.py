"""Complete a pool whose figure is up to date: draw it, and compare it with its sibling joins.

This takes longer than the figure itself, so it has its own queue and no upload waits for it.
"""

from __future__ import annotations

import structlog
from django.db.models import F, QuerySet
from structlog.contextvars import bound_contextvars

from results.charts.pool_forest import draw_forest
from results.jobs.attempts import excuse, write_or_defer
from results.models import Pool, PoolVersion
from results.pools.join_contrasts import compare_joins, comparison_is_due

log = structlog.get_logger(__name__)


def complete_pool(pool_id: int) -> None:
    """Draw and compare the current version if that is not done, or if its drawing was erased.

    Attempts are counted with the version until there is a drawing; the sweeper retries until they
    are used up.
    """
    with bound_contextvars(pool=pool_id):
        try:
            _complete(pool_id)
        except Exception as error:
            log.exception("pool not completed")
            _record_failure(pool_id, error)


def _complete(pool_id: int) -> None:
    current = _current(pool_id)
    undrawn = current.filter(forest_light="", sets__gt=0).first()
    compare = comparison_is_due(pool_id)
    if undrawn is None and not compare:
        return
    current.update(attempts=F("attempts") + 1)
    if undrawn is not None:
        draw_forest(undrawn)
    if compare:
        compare_joins(pool_id)
    if undrawn is None or undrawn.forest_light:
        current.update(attempts=0, excused=0)


def _record_failure(pool_id: int, error: Exception) -> None:
    current = _current(pool_id)
    write_or_defer(lambda: excuse(current, "attempts", error))


def _current(pool_id: int) -> QuerySet[PoolVersion]:
    return PoolVersion.objects.filter(pk__in=Pool.objects.filter(pk=pool_id).values("current"))
