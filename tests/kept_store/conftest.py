"""The store of the last release, migrated once for all the stories of a file."""

import sqlite3

import pytest
from django.db import transaction

from tests.kept_store.loading import load, unpack


@pytest.fixture(scope="module")
def once(django_db_setup, django_db_blocker, tmp_path_factory):
    """Rows by table, as they were kept; what is in the test's database was migrated from them."""
    folder = tmp_path_factory.mktemp("kept")
    kept = _rows_by_table(str(unpack(folder)))
    with django_db_blocker.unblock(), transaction.atomic():
        load(folder)
        yield kept
        transaction.set_rollback(True)


def _rows_by_table(store: str) -> dict[str, int]:
    with sqlite3.connect(store) as connection:
        tables = connection.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'table'"
        ).fetchall()
        count = "SELECT COUNT(*) FROM {}"
        return {name: connection.execute(count.format(name)).fetchone()[0] for (name,) in tables}


@pytest.fixture
def kept(once, db) -> dict[str, int]:
    return once
