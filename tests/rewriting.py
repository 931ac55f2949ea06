"""Rewriting history in a test, which PostgreSQL refuses everybody else."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction
from django.db.backends.postgresql.operations import DatabaseOperations

_GUARDED = """
SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger
WHERE NOT tgisinternal AND tgrelid::regclass::text ~ '^(rigs|results)_'
"""


def empty_between_stories() -> None:
    """Stories that really commit are followed by TRUNCATE, which history refuses everybody else."""
    emptied = DatabaseOperations.sql_flush

    def sql_flush(self, style, tables, **options):
        unguarded = "SET LOCAL session_replication_role = replica"
        return [unguarded, *emptied(self, style, tables, **options)] if tables else []

    DatabaseOperations.sql_flush = sql_flush


@contextmanager
def rewriting() -> Iterator[None]:
    """A test that plants a past: rows are kept as they were stored only before and after it."""
    _switch("DISABLE")
    yield
    _switch("ENABLE")


def _switch(how: str) -> None:
    if connection.vendor != "postgresql":
        return
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(_GUARDED)
        tables = [table for (table,) in cursor.fetchall()]
        # No table can be altered while checks of its rows are still to come.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in tables:
            cursor.execute(f"ALTER TABLE {table} {how} TRIGGER USER")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
