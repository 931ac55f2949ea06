"""Bounds of columns as the database holds them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from operator import and_

from django.db.models import CheckConstraint, Q

from rigs.metrology.bounds import EARLIEST_DAY, Bounds

LARGEST = 1e300
"""No figure comes near; what is not within it is infinite, or no number at all."""


def within(column: str, bounds: Bounds) -> Q:
    """That a column is within its bounds; in a constraint, null passes."""
    low = "gt" if bounds.above else "gte"
    return Q(**{f"{column}__{low}": bounds.lowest, f"{column}__lte": bounds.highest})


def all_within(name: str, columns: Mapping[str, Bounds], day: str = "") -> CheckConstraint:
    """The constraint that each column is within its bounds, and the day not before the first."""
    conditions = [within(column, bounds) for column, bounds in columns.items()]
    if day:
        conditions.append(Q(**{f"{day}__gte": EARLIEST_DAY}))
    return CheckConstraint(condition=reduce(and_, conditions), name=name)


def finite(name: str, *columns: str, also: Q | None = None) -> CheckConstraint:
    """The constraint that each column is a finite number or null; ``also`` is one condition more.

    PostgreSQL takes 'not a number' for larger than every number, and SQLite stores it as null.
    """
    conditions = [Q(**{f"{each}__gte": -LARGEST, f"{each}__lte": LARGEST}) for each in columns]
    return CheckConstraint(
        condition=reduce(and_, [*conditions, *([also] if also else [])]), name=name
    )
