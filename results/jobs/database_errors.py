"""What a database error means: whether the work that met it is to blame, on either engine.

PostgreSQL's codes are in appendix A of its manual, SQLite's in "Result and Error Codes" of its
documentation (the primary code is the low byte of an extended one).
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from enum import Enum, auto

import psycopg
from django.db import InterfaceError


class Trouble(Enum):
    """What kept the database from doing what any work may ask of it."""

    FULL = auto()
    READ_ONLY = auto()
    LOCKED = auto()
    CLASHED = auto()
    AWAY = auto()


_BY_SQLSTATE = {
    "53100": Trouble.FULL,
    "25006": Trouble.READ_ONLY,
    "55P03": Trouble.LOCKED,
    "40001": Trouble.CLASHED,
    "40P01": Trouble.CLASHED,
    "53300": Trouble.AWAY,
    "57P01": Trouble.AWAY,
    "57P02": Trouble.AWAY,
    "57P03": Trouble.AWAY,
}
_CONNECTION_EXCEPTION = "08"
_BY_SQLITE = {
    sqlite3.SQLITE_FULL: Trouble.FULL,
    sqlite3.SQLITE_READONLY: Trouble.READ_ONLY,
    sqlite3.SQLITE_BUSY: Trouble.LOCKED,
    sqlite3.SQLITE_LOCKED: Trouble.LOCKED,
    sqlite3.SQLITE_IOERR: Trouble.AWAY,
    sqlite3.SQLITE_CANTOPEN: Trouble.AWAY,
}
_NO_SPACE = (errno.ENOSPC, errno.EDQUOT)


def trouble_of(error: BaseException) -> Trouble | None:
    """What the database was in, where that is behind an error; None where the work itself is."""
    return next(filter(None, map(_trouble, _chain(error))), None)


def _chain(error: BaseException) -> Iterator[BaseException]:
    """An error and what raised it, as Python would show them."""
    found: BaseException | None = error
    while found is not None:
        yield found
        found = found.__cause__ or (None if found.__suppress_context__ else found.__context__)


def _trouble(error: BaseException) -> Trouble | None:
    if isinstance(error, psycopg.Error):
        return _of_postgresql(error)
    if isinstance(error, sqlite3.Error):
        return _BY_SQLITE.get(getattr(error, "sqlite_errorcode", 0) & 0xFF)
    if isinstance(error, InterfaceError):
        return Trouble.AWAY
    if isinstance(error, OSError) and error.errno in _NO_SPACE:
        return Trouble.FULL
    return None


def _of_postgresql(error: psycopg.Error) -> Trouble | None:
    """Without a code it is the connection: refused, timed out, or lost on the way."""
    if error.sqlstate is None:
        lost = (psycopg.OperationalError, psycopg.InterfaceError)
        return Trouble.AWAY if isinstance(error, lost) else None
    if error.sqlstate.startswith(_CONNECTION_EXCEPTION):
        return Trouble.AWAY
    return _BY_SQLSTATE.get(error.sqlstate)
