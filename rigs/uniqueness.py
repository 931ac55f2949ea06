"""Unique constraint violations: two people stored the same at once."""

from __future__ import annotations

import sqlite3

from django.db import IntegrityError
from django.utils.translation import gettext_lazy
from psycopg.errors import UniqueViolation

TAKEN = gettext_lazy(
    "Someone else has just stored the same, or you sent it twice: check what is there, and choose "
    "another name if one is taken."
)
_SQLITE = (sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY)


def is_unique_violation(error: IntegrityError) -> bool:
    """Whether a unique constraint was violated, and not one of another sort."""
    cause = error.__cause__
    return isinstance(cause, UniqueViolation) or (
        isinstance(cause, sqlite3.IntegrityError) and cause.sqlite_errorcode in _SQLITE
    )
