"""Trouble of the database itself: no job and no pool is to blame, so no try is counted."""

from __future__ import annotations

from django.db.models import F

from results.models import Pool

DISK_FULL = "53100"
GOING_DOWN = ("57P01", "57P02", "57P03")


def is_databases_trouble(error: Exception) -> bool:
    """Whether PostgreSQL had no room left, or was being stopped.

    The codes are those of its manual, appendix A.
    """
    return getattr(error.__cause__, "sqlstate", None) in (DISK_FULL, *GOING_DOWN)


def uncount_try(pool_id: int, error: Exception) -> None:
    """Take back the try at a pool that was counted before it began, where this is what ended it."""
    if is_databases_trouble(error):
        Pool.objects.filter(pk=pool_id, failures__gt=0).update(failures=F("failures") - 1)
