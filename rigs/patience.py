"""Statements of migrations that wait until a table is free, however busy the service is."""

from __future__ import annotations

import time
from typing import Any

from django.db import OperationalError
from psycopg.errors import LockNotAvailable

TRIES = 60
PAUSE_S = 0.5
"""Between two tries, in which those that queued behind the last one go on."""


def patiently(schema_editor: Any, statement: str) -> None:
    """Execute a statement, again and again where somebody holds its table for too long.

    A migration that is no transaction would stop halfway otherwise, and can't be run again from its
    beginning. A longer time limit would do harm: everybody else queues behind who waits for a
    table. Raises OperationalError after the last try, and at once within a transaction, which is
    over then and leaves nothing behind.
    """
    for left in reversed(range(TRIES)):
        try:
            schema_editor.execute(statement, params=None)
        except OperationalError as error:
            waited = isinstance(error.__cause__, LockNotAvailable)
            if not waited or not left or schema_editor.connection.in_atomic_block:
                raise
            time.sleep(PAUSE_S)
        else:
            return
