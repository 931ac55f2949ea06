"""Pools with work left: those marked stale, and versions not yet drawn or compared.

What a worker was about to do when it stopped is read from the rows; no message needs to survive.
"""

from __future__ import annotations

from django.conf import settings
from django.db.models import Exists, Expression, OuterRef, Q, QuerySet

from results.models import LINE_PAIR, DirectComparison, Pool, StalePool


def stale_pools(since: Expression) -> list[int]:
    """Pools marked stale before ``since``, except those out of attempts."""
    pools = Pool.objects.filter(pk__in=_marked(since)).exclude(_out_of_attempts())
    return sorted(pools.values_list("pk", flat=True))


def incomplete_pools(since: Expression) -> list[int]:
    """Pools computed before ``since`` and not drawn or compared, except those out of attempts.

    Stale pools are left out: recomputing a stale pool also redraws it.
    """
    done = Pool.objects.filter(
        current__attempts__lt=settings.SAMESPOOL_JOB_ATTEMPTS,
        current__computed_at__lt=since,
        current__sets__gt=0,
    )
    undrawn = done.filter(current__forest_light="", stale_marks=None)
    by_version = dict(done.values_list("current_id", "pk"))
    return sorted({*undrawn.values_list("pk", flat=True), *_not_compared(by_version)})


def pools_out_of_attempts(since: Expression) -> QuerySet[Pool]:
    """Pools marked stale before ``since`` that could not be computed in all their attempts."""
    return Pool.objects.filter(_out_of_attempts(), pk__in=_marked(since))


def _out_of_attempts() -> Q:
    """All attempts are used up, and nothing has changed since the last one began."""
    used_up = Q(failures__gte=settings.SAMESPOOL_JOB_ATTEMPTS)
    newer = StalePool.objects.filter(pool=OuterRef("pk"), marked_at__gte=OuterRef("attempted_at"))
    return used_up & ~Q(Exists(newer))


def _marked(since: Expression) -> QuerySet[StalePool, int]:
    return StalePool.objects.filter(marked_at__lt=since).values_list("pool_id", flat=True)


def _not_compared(pools: dict[int, int]) -> set[int]:
    """Of pools by their current version, those whose version is in no comparison yet.

    Not those where a pool of the same line pair is stale: computing the last of these compares all.
    """
    compared = {
        version
        for versions in DirectComparison.objects.values_list("versions", flat=True)
        for version in versions
    }
    left = [pool for version, pool in pools.items() if version not in compared]
    waiting = set(Pool.objects.exclude(stale_marks=None).values_list(*LINE_PAIR))
    pairs = Pool.objects.filter(pk__in=left).values_list("pk", *LINE_PAIR)
    return {pk for pk, *pair in pairs if tuple(pair) not in waiting}
