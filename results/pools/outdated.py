"""Pools that say less than today's code would, or by older formulae: computed again, in time.

Not all at once, which would hold up what testers upload: only so many are marked as there is room
beside what waits already.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import islice
from types import SimpleNamespace
from typing import Any

from django.db import transaction
from django.db.models import BooleanField, ExpressionWrapper, Q, QuerySet

from results.jobs import stale_marks
from results.models import Pool, StalePool
from results.models.declared import Kept, names
from results.pools.snapshots import FORMULAE, columns, columns_before

AT_ONCE = 20
"""Pools that may be stale at once because of this."""
LOOK_AGAIN_S = 3600.0
"""Seconds until a process that found nothing outdated looks again: older code may run beside."""
_look = SimpleNamespace(not_before=0.0)


def mark_outdated(at_most: int = AT_ONCE) -> int:
    """Mark outdated pools as stale while fewer than ``at_most`` wait; how many are marked now.

    One transaction. Only inserts marks. A pool without a version is computed by its own mark.
    """
    with transaction.atomic():
        wanted = list(islice(_outdated(), _room(at_most)))
        for pool_id, why in wanted:
            stale_marks.mark([pool_id], why)
    return len(wanted)


def mark_after(pool_id: int, at_most: int = AT_ONCE) -> list[int]:
    """Mark the pools that follow this one, outdated or not, as far as there is room; their ids.

    One transaction. Only inserts marks.
    """
    with transaction.atomic():
        found = list(_following(pool_id).values_list("pk", flat=True)[: _room(at_most)])
        stale_marks.mark(found, "every pool is computed again")
    return found


def any_after(pool_id: int) -> bool:
    """Whether pools follow this one."""
    return _following(pool_id).exists()


def waiting() -> bool:
    """Whether a stale pool waits that has not failed."""
    return StalePool.objects.filter(pool__failures=0).exists()


def failed() -> int:
    """How many stale pools could not be computed."""
    return Pool.objects.filter(stale_marks__isnull=False).distinct().count()


def _following(pool_id: int) -> QuerySet[Pool]:
    return Pool.objects.filter(current__isnull=False, pk__gt=pool_id).order_by("pk")


def _room(at_most: int) -> int:
    """How many more pools may be marked; failed ones don't count."""
    waiting = (
        StalePool.objects.filter(pool__failures=0).order_by().values("pool").distinct().count()
    )
    return max(at_most - waiting, 0)


def sweep_outdated() -> None:
    """`mark_outdated` by the sweeper, which waits an hour after it found none."""
    if time.monotonic() < _look.not_before:
        return
    if not mark_outdated() and not outdated():
        _look.not_before = time.monotonic() + LOOK_AGAIN_S


def outdated() -> int:
    """How many pools are still to be computed again."""
    return sum(1 for _ in _outdated())


def _outdated() -> Iterator[tuple[int, str]]:
    """Pools that are not marked yet, and why each is outdated."""
    rows = (
        Pool.objects.filter(current__isnull=False, stale_marks__isnull=True)
        .annotate(whole=_whole())
        .order_by("pk")
        .values_list("pk", "whole", "current__inputs__formulae", "current__inputs__columns")
    )
    for pk, whole, formulae, known in rows.iterator():
        if why := _why(whole, formulae, known or columns_before()):
            yield pk, why


def _whole() -> ExpressionWrapper[Q]:
    """Whether a pool's version has all figures, if it has a pooled one, and all findings."""
    figures, findings = list(names(Kept.FIGURES)), list(names(Kept.FINDINGS))
    pooled_whole = Q(current__figures={}) | Q(current__figures__has_keys=figures)
    return ExpressionWrapper(
        pooled_whole & Q(current__findings__has_keys=findings), output_field=BooleanField()
    )


def _why(whole: bool, formulae: Any, known: Any) -> str:
    if formulae != FORMULAE:
        return f"computed by formulae {formulae or 'of before they were numbered'}, now {FORMULAE}"
    lacking = sorted(set(columns()) - set(known))
    if lacking:
        return f"computed without {', '.join(lacking)}"
    return "" if whole else "computed without all figures or findings of today"
