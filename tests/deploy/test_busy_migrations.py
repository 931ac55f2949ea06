"""A migration that meets a table somebody holds waits for it, and doesn't stop halfway."""

import threading

import psycopg
import pytest
from django.db import OperationalError, connection, transaction

from rigs import patience
from rigs.patience import patiently

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite locks a whole file"),
]
HINDERED = "ALTER TABLE rigs_club ADD CONSTRAINT hindered CHECK (id > 0) NOT VALID"


@pytest.fixture
def held():
    """A club's table that another connection holds, until it is released."""
    parts = connection.get_connection_params()
    named = {name: parts[name] for name in ("dbname", "user", "host", "port") if name in parts}
    with psycopg.connect(**named) as other:
        other.execute("LOCK TABLE rigs_club IN ROW EXCLUSIVE MODE")
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '100ms'")
        yield other
        other.rollback()
    with connection.cursor() as cursor:
        cursor.execute("RESET lock_timeout")
        cursor.execute("ALTER TABLE rigs_club DROP CONSTRAINT IF EXISTS hindered")


def added() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_constraint WHERE conname = 'hindered'")
        return cursor.fetchone()[0]


def test_it_tries_again_until_the_table_is_free(held):
    threading.Timer(1.5, held.rollback).start()
    with connection.schema_editor(atomic=False) as editor:
        patiently(editor, HINDERED)
    assert added() == 1


def test_it_gives_up_after_the_last_try_and_at_once_within_a_transaction(held, monkeypatch):
    monkeypatch.setattr(patience, "TRIES", 2)
    with connection.schema_editor(atomic=False) as editor, pytest.raises(OperationalError):
        patiently(editor, HINDERED)
    monkeypatch.setattr(patience, "TRIES", 10**9)
    with pytest.raises(OperationalError), transaction.atomic():  # noqa: SIM117
        with connection.schema_editor(atomic=False) as editor:
            patiently(editor, HINDERED)
    assert added() == 0


def test_every_statement_of_our_own_operations_waits():
    from tests.deploy.files import ROOT  # noqa: PLC0415

    for name in ("kept_rows.py", "held_rows.py"):
        text = (ROOT / "rigs" / name).read_text()
        impatient = [line for line in text.splitlines() if "schema_editor.execute(" in line]
        # Dropping and building an index concurrently takes no lock that others wait for.
        assert all("CONCURRENTLY" in line or "concurrently" in line for line in impatient), name
