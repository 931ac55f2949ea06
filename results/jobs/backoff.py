"""Exponential backoff for queue messages that the sweeper sends again.

A message may be lost, or only wait behind others while the workers are busy, and the rows don't
say which. So the interval doubles each time: for work that waits an hour, some ten messages are
sent, not one at each sweep, which would fill the queue faster than the workers can empty it. A
message lost from a long queue is replaced once its job has waited as long again.
"""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db.models import DateTimeField, ExpressionWrapper, F, Max, Min, Q, QuerySet
from django.db.models.expressions import Combinable, CombinedExpression
from django.db.models.functions import Now

from results.jobs.database_clock import from_now
from results.models import Job, Pool, PoolVersion, StalePool

AT_ONCE = 500


def clamp_future_times() -> None:
    """Set times in the future to now: they were written while the database's clock ran ahead."""
    unfinished = Job.objects.filter(state__in=[Job.State.QUEUED, Job.State.RUNNING])
    unfinished.filter(created_at__gt=Now()).update(created_at=Now())
    unfinished.filter(woken_at__gt=Now()).update(woken_at=Now())
    longest = from_now(settings.SAMESPOOL_LEASE_SECONDS)
    unfinished.filter(lease_expires_at__gt=longest).update(lease_expires_at=longest)
    StalePool.objects.filter(marked_at__gt=Now()).update(marked_at=Now())
    StalePool.objects.filter(woken_at__gt=Now()).update(woken_at=Now())


def jobs_to_resend(unfinished: QuerySet[Job]) -> list[uuid.UUID]:
    """Ids of those unfinished jobs whose message is due to be sent again, the oldest first."""
    again = _again(F("created_at"), F("woken_at"))
    lease_ran_out_since = Q(woken_at__lt=F("lease_expires_at"))
    due = unfinished.annotate(again=again).filter(Q(again__lte=Now()) | lease_ran_out_since)
    ids = list(due.order_by("created_at").values_list("pk", flat=True)[:AT_ONCE])
    Job.objects.filter(pk__in=ids).update(woken_at=Now())
    return ids


def stale_pools_to_resend(stale: list[int]) -> list[int]:
    """Those of the stale pools whose message is due to be sent again, by the marks on them."""
    due = (
        StalePool.objects.filter(pool__in=stale)
        .order_by()
        .values("pool_id")
        .annotate(again=_again(Min("marked_at"), Max("woken_at")))
        .filter(again__lte=Now())
    )
    ids = list(due.values_list("pool_id", flat=True))
    StalePool.objects.filter(pool__in=ids).update(woken_at=Now())
    return sorted(ids)


def incomplete_pools_to_resend(incomplete: list[int]) -> list[int]:
    """Those of the incomplete pools whose message is due again, by their current version."""
    current = Pool.objects.filter(pk__in=incomplete).values("current")
    versions = PoolVersion.objects.filter(pk__in=current)
    due = versions.annotate(again=_again(F("computed_at"), F("woken_at"))).filter(again__lte=Now())
    ids = dict(due.values_list("pk", "pool_id"))
    PoolVersion.objects.filter(pk__in=ids).update(woken_at=Now())
    return sorted(ids.values())


def _again(began: Combinable, last_sent: Combinable) -> ExpressionWrapper[CombinedExpression]:
    """When to send again: as long after the last message as that one came after the start."""
    return ExpressionWrapper(last_sent + (last_sent - began), output_field=DateTimeField())
