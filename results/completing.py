"""Completing a pool once its figure is fresh: it is drawn, and compared with the joins beside it.

This costs more than the figure, so it has a queue of its own and no upload waits for it.
"""

from __future__ import annotations

import structlog
from django.db.models import F
from structlog.contextvars import bound_contextvars

from results.contrasting import compare_joins, comparison_is_due
from results.drawing import draw_forest
from results.full_database import uncount_try
from results.models import Pool, PoolVersion

log = structlog.get_logger(__name__)


def complete_pool(pool_id: int) -> None:
    """Draw and compare the current version where that was not done, or its drawing erased.

    Each such try is counted with the pool until there is a drawing, so that what can't be drawn is
    let be; the sweeper tries again a few times.
    """
    with bound_contextvars(pool=pool_id):
        try:
            _complete(pool_id)
        except Exception as error:
            log.exception("pool not completed")
            uncount_try(pool_id, error)


def _complete(pool_id: int) -> None:
    pool = Pool.objects.filter(pk=pool_id)
    undrawn = PoolVersion.objects.filter(
        pk__in=pool.values("current"), forest_light="", sets__gt=0
    ).first()
    compare = comparison_is_due(pool_id)
    if undrawn is None and not compare:
        return
    pool.update(failures=F("failures") + 1)
    if undrawn is not None:
        draw_forest(undrawn)
    if compare:
        compare_joins(pool_id)
    if undrawn is None or undrawn.forest_light:
        pool.update(failures=0)
