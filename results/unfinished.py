"""Pools whose work was broken off: marks that wait, and versions not drawn or not compared.

What a worker was about to do when it ended is read from the rows, so that nothing need be told.
"""

from __future__ import annotations

from django.conf import settings
from django.db.models import Expression, QuerySet

from results.lookups import LINE_PAIR
from results.models import DirectComparison, Pool, StalePool


def stale_pools(since: Expression) -> list[int]:
    """Pools marked before that moment and not computed, but those tried time after time."""
    return sorted(_tried_again().filter(pk__in=_marked(since)).values_list("pk", flat=True))


def incomplete_pools(since: Expression) -> list[int]:
    """Pools computed before that moment and not drawn or compared, but those tried time after time.

    Whoever computes a stale one anew has it completed.
    """
    done = _tried_again().filter(current__computed_at__lt=since, current__sets__gt=0)
    undrawn = done.filter(current__forest_light="", stale_marks=None)
    by_version = dict(done.values_list("current_id", "pk"))
    return sorted({*undrawn.values_list("pk", flat=True), *_not_compared(by_version)})


def given_up(since: Expression) -> QuerySet[Pool]:
    """Pools marked before that moment that could not be computed in all the tries there are."""
    tries = settings.SAMESPOOL_JOB_ATTEMPTS
    return Pool.objects.filter(failures__gte=tries, pk__in=_marked(since))


def _tried_again() -> QuerySet[Pool]:
    return Pool.objects.filter(failures__lt=settings.SAMESPOOL_JOB_ATTEMPTS)


def _marked(since: Expression) -> QuerySet[StalePool, int]:
    return StalePool.objects.filter(marked_at__lt=since).values_list("pool_id", flat=True)


def _not_compared(pools: dict[int, int]) -> set[int]:
    """Of pools by their current version, those whose version is in no comparison yet.

    Where a pool of the same line pair waits to be computed, whoever computes the last one compares.
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
