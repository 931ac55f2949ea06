"""Classify database errors: is the work to blame, or the database? For both engines.

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


class DatabaseFault(Enum):
    """Why the database could not do what it normally can."""

    FULL = auto()
    READ_ONLY = auto()
    LOCKED = auto()
    CONFLICT = auto()
    UNREACHABLE = auto()


_BY_SQLSTATE = {
    "53100": DatabaseFault.FULL,
    "25006": DatabaseFault.READ_ONLY,
    "55P03": DatabaseFault.LOCKED,
    "40001": DatabaseFault.CONFLICT,
    "40P01": DatabaseFault.CONFLICT,
    "53300": DatabaseFault.UNREACHABLE,
    "57P01": DatabaseFault.UNREACHABLE,
    "57P02": DatabaseFault.UNREACHABLE,
    "57P03": DatabaseFault.UNREACHABLE,
}
_CONNECTION_EXCEPTION = "08"
_BY_SQLITE = {
    sqlite3.SQLITE_FULL: DatabaseFault.FULL,
    sqlite3.SQLITE_READONLY: DatabaseFault.READ_ONLY,
    sqlite3.SQLITE_BUSY: DatabaseFault.LOCKED,
    sqlite3.SQLITE_LOCKED: DatabaseFault.LOCKED,
    sqlite3.SQLITE_IOERR: DatabaseFault.UNREACHABLE,
    sqlite3.SQLITE_CANTOPEN: DatabaseFault.UNREACHABLE,
}
_NO_SPACE = (errno.ENOSPC, errno.EDQUOT)


def database_fault(error: BaseException) -> DatabaseFault | None:
    """The database's fault that caused an error; None if the work itself is to blame."""
    return next(filter(None, map(_fault, _chain(error))), None)


def _chain(error: BaseException) -> Iterator[BaseException]:
    """An error and its causes, in the order of Python's traceback."""
    found: BaseException | None = error
    while found is not None:
        yield found
        found = found.__cause__ or (None if found.__suppress_context__ else found.__context__)


def _fault(error: BaseException) -> DatabaseFault | None:
    if isinstance(error, psycopg.Error):
        return _of_postgresql(error)
    if isinstance(error, sqlite3.Error):
        return _BY_SQLITE.get(getattr(error, "sqlite_errorcode", 0) & 0xFF)
    if isinstance(error, InterfaceError):
        return DatabaseFault.UNREACHABLE
    if isinstance(error, OSError) and error.errno in _NO_SPACE:
        return DatabaseFault.FULL
    return None


def _of_postgresql(error: psycopg.Error) -> DatabaseFault | None:
    """An error without a code is one of the connection: refused, timed out or lost."""
    if error.sqlstate is None:
        lost = (psycopg.OperationalError, psycopg.InterfaceError)
        return DatabaseFault.UNREACHABLE if isinstance(error, lost) else None
    if error.sqlstate.startswith(_CONNECTION_EXCEPTION):
        return DatabaseFault.UNREACHABLE
    return _BY_SQLSTATE.get(error.sqlstate)
