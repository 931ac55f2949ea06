"""A full database: no job and no pool is to blame, so no try that met it is counted.

Nothing else of the database's is left out of the count: a job may take its connection with it, and
whoever does so each time has to be told as failed.
"""

from __future__ import annotations

from django.db.models import F

from results.models import Pool

DISK_FULL = "53100"
"""PostgreSQL's code for it, in appendix A of its manual."""


def is_full(error: Exception) -> bool:
    """Whether PostgreSQL had no room left."""
    return getattr(error.__cause__, "sqlstate", None) == DISK_FULL


def uncount_try(pool_id: int, error: Exception) -> None:
    """Take back the try at a pool that was counted before it began, where this is what ended it."""
    if is_full(error):
        Pool.objects.filter(pk=pool_id, failures__gt=0).update(failures=F("failures") - 1)
