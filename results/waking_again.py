"""Whom the sweeper sends for again, and how often.

A message may be lost, or only wait behind others while the workers are busy, and the rows don't
tell which. So the pause doubles each time, up to a lease: what waits is sent for a few times and
not at each sweep, which would fill the queue faster than the workers can empty it.
"""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db.models import DateTimeField, ExpressionWrapper, F, Max, Min, Q, QuerySet
from django.db.models.functions import Now

from results.clock import from_now
from results.models import Job, StalePool

AT_ONCE = 500


def jobs_to_wake(unfinished: QuerySet[Job]) -> list[uuid.UUID]:
    """Ids of those unfinished jobs that are due to be sent for again, the oldest first."""
    due = _due(unfinished, F("created_at"), F("woken_at")).order_by("created_at")
    ids = list(due.values_list("pk", flat=True)[:AT_ONCE])
    Job.objects.filter(pk__in=ids).update(woken_at=Now())
    return ids


def pools_to_wake(waiting: list[int]) -> list[int]:
    """Those of the waiting pools that are due to be sent for again, or have no mark that tells."""
    marked = (
        StalePool.objects.filter(pool__in=waiting)
        .order_by()
        .values("pool_id")
        .annotate(first=Min("marked_at"), last=Max("woken_at"))
    )
    due = set(_due(marked, F("first"), F("last")).values_list("pool_id", flat=True))
    StalePool.objects.filter(pool__in=due).update(woken_at=Now())
    left = due | (set(waiting) - set(marked.values_list("pool_id", flat=True)))
    return sorted(left)


def _due(rows: QuerySet, began: F, woken: F) -> QuerySet:
    """Rows whose last message is as long ago as it was after the beginning, or a lease ago."""
    again = ExpressionWrapper(woken + (woken - began), output_field=DateTimeField())
    return rows.annotate(again=again, woken=woken).filter(
        Q(again__lte=Now()) | Q(woken__lt=from_now(-settings.SAMESPOOL_LEASE_SECONDS))
    )
