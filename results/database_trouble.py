"""Trouble of the database itself: no job and no pool is to blame, so no try is counted."""

from __future__ import annotations

DISK_FULL = "53100"
GOING_DOWN = ("57P01", "57P02", "57P03")


def is_databases_trouble(error: Exception) -> bool:
    """Whether PostgreSQL had no room left, or was being stopped.

    The codes are those of its manual, appendix A.
    """
    return getattr(error.__cause__, "sqlstate", None) in (DISK_FULL, *GOING_DOWN)
