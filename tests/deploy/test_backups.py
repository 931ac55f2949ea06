"""A backup restored into an empty database is the same store, to the digit."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import psycopg
import pytest
from django.conf import settings
from psycopg import sql

from results.jobs import queue
from results.models import PoolVersion
from results.worker import embedded
from tests import making
from tests.people import contributor
from tests.workers import database_url

# Not for the worker's sake: these stories need PostgreSQL, and commits that it really makes.
pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]
RECOMPUTE_ALL = """
from results.jobs import stale_marks
from results.pools import recompute
from results.models import Pool
stale_marks.mark(Pool.objects.values_list("pk", flat=True), "computed again after a restore")
for pool in Pool.objects.all():
    recompute.refresh_pool(pool.pk)
"""


@pytest.fixture
def league():
    """Four testers who each tied two joins on one day: two pools with a figure."""
    rng = np.random.default_rng(8)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(4):
        revision = making.revision_of(contributor(f"tester {number}"))
        session = making.session(revision)
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.025, 8)))
        for tie, strength_N in (("Blood", 80), ("Double uni", 72)):
            readings_N = strength_N * np.exp(rng.normal(0, 0.05, 8))
            making.joined(session, main, leader, readings_N, tie=tie)
        queue.enqueue(session)
    embedded.drain()
    assert PoolVersion.objects.filter(efficiency__isnull=False).count() >= 2


@pytest.fixture
def empty_database():
    """The URL of a database with nothing in it, beside the run's own."""
    server = database_url()
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute("CREATE DATABASE restored")
        yield f"{server.rsplit('/', 1)[0]}/restored"
        connection.execute("DROP DATABASE restored WITH (FORCE)")


def run(program: str, url: str, *arguments: Path) -> subprocess.CompletedProcess:
    command = [Path(settings.BASE_DIR) / "deploy" / program, *arguments]
    environment = {**os.environ, "DATABASE_URL": url}
    return subprocess.run(command, env=environment, check=False, capture_output=True, text=True)


def everything_in(url: str) -> dict[str, list[str]]:
    """Every row of every table, as PostgreSQL writes it, floats to their last digit."""
    with psycopg.connect(url) as connection:
        tables = connection.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1"
        ).fetchall()
        rows = sql.SQL("SELECT t::text FROM {} t ORDER BY 1")
        return {
            name: [row for (row,) in connection.execute(rows.format(sql.Identifier(name)))]
            for (name,) in tables
        }


def figures_in(url: str) -> list[tuple]:
    with psycopg.connect(url) as connection:
        return connection.execute(
            "SELECT pool_id, number, efficiency, interval_low, interval_high, i2, figures::text,"
            " findings::text, forest_light, forest_dark FROM results_poolversion ORDER BY 1, 2"
        ).fetchall()


def test_a_restored_store_is_the_same_in_every_row_and_recomputes_to_the_same_figures(
    league, empty_database, tmp_path
):
    made = run("backup", database_url(), tmp_path)
    assert made.returncode == 0, made.stderr
    dump = Path(made.stdout.strip())
    restored = run("restore", empty_database, dump)
    assert restored.returncode == 0, restored.stderr

    assert everything_in(empty_database) == everything_in(database_url())
    before = figures_in(empty_database)
    assert before[0][2] is not None

    subprocess.run(
        [sys.executable, "manage.py", "shell", "-c", RECOMPUTE_ALL],
        env={**os.environ, "DATABASE_URL": empty_database},
        cwd=settings.BASE_DIR,
        check=True,
        capture_output=True,
    )

    assert figures_in(empty_database) == before
    with psycopg.connect(empty_database) as connection:
        assert connection.execute("SELECT count(*) FROM results_stalepool").fetchone() == (0,)


def test_a_dump_has_its_date_its_sum_and_no_other_reader(league, tmp_path):
    dump = Path(run("backup", database_url(), tmp_path).stdout.strip())

    assert dump.name.startswith("samespool-2")
    answer = (tmp_path / f"{dump.name}.sha256").read_text().split()
    assert answer == [hashlib.sha256(dump.read_bytes()).hexdigest(), dump.name]
    assert dump.stat().st_mode & 0o077 == 0


def test_a_database_that_holds_something_is_not_written_over(league, tmp_path):
    dump = Path(run("backup", database_url(), tmp_path).stdout.strip())
    before = everything_in(database_url())

    refused = run("restore", database_url(), dump)

    assert refused.returncode == 1
    assert "is not empty" in refused.stderr
    assert "Restore into a new one" in refused.stderr
    assert everything_in(database_url()) == before


def test_a_dump_that_was_changed_on_the_way_is_refused(league, empty_database, tmp_path):
    dump = Path(run("backup", database_url(), tmp_path).stdout.strip())
    dump.write_bytes(dump.read_bytes()[:-1])

    refused = run("restore", empty_database, dump)

    assert refused.returncode == 1
    assert "is not as it was written" in refused.stderr
    assert everything_in(empty_database) == {}


def test_a_backup_that_cannot_be_made_leaves_no_half_of_one(tmp_path):
    missing = f"{database_url().rsplit('/', 1)[0]}/nowhere"

    refused = run("backup", missing, tmp_path)

    assert refused.returncode == 1
    assert "pg_dump failed" in refused.stderr
    assert list(tmp_path.iterdir()) == []
