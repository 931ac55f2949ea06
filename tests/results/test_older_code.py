"""Older code that ran beside this one, or after it in a rollback, leaves nothing stale in use."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from results.jobs import stale_marks
from results.models import NormalisedSet, Pool, PoolVersion, Pull
from results.pools.descriptives import KEPT
from results.pools.snapshots import columns
from results.worker import embedded
from tests.api.leagues import league_of

pytestmark = pytest.mark.usefixtures("planted_past")

RELEASED = ("0001_initial", "0007_waiting_on_the_databases_clock", "0009", "0011", "0013")
"""Migrations at which code was, or could have been, running."""
NEVER_READ = {
    "PoolVersion": {"woken_at", "attempts", "excused"},
    "NormalisedSet": set(),
}
"""Columns that say nothing of the sets: counts and times of the work itself."""
SAID_TO_BE_UNKNOWN = {"snapshot", "inputs", *columns()}
"""Columns of a version that are empty where code inserted it that did not know them: versions are
never updated, and the next one is computed with all columns."""


def model_at(migration: str, name: str):
    """A model as the code of that migration knows it."""
    loader = MigrationExecutor(connection).loader
    known = [(app, full) for app, full in loader.disk_migrations if app == "results"]
    [node] = [each for each in known if each[1].startswith(migration[:4])][:1]
    return loader.project_state([node]).apps.get_model("results", name)


def unknown_to(migration: str, model: type) -> set[str]:
    then = {field.name for field in model_at(migration, model.__name__)._meta.concrete_fields}
    return {field.name for field in model._meta.concrete_fields} - then


@pytest.mark.parametrize("migration", RELEASED)
def test_every_column_that_older_code_does_not_write_is_noticed(db, migration):
    """A new column of a set has to be worked out by ``describing``, or has to say nothing."""
    sets = unknown_to(migration, NormalisedSet) - NEVER_READ["NormalisedSet"]
    assert sets <= set(KEPT)
    versions = unknown_to(migration, PoolVersion) - NEVER_READ["PoolVersion"]
    assert versions <= SAID_TO_BE_UNKNOWN


@pytest.fixture
def pool(db) -> Pool:
    league_of({"Blood": 80.0}, testers=4)
    return Pool.objects.get()


def rewritten_by_code_of(migration: str) -> None:
    """What older code does that normalises a set again: it writes the columns that it knows."""
    older = model_at(migration, "NormalisedSet")
    for row in older.objects.all():
        older.objects.update_or_create(pull_set_id=row.pk, defaults={"mean_N": row.mean_N * 0.9})


@pytest.mark.parametrize("migration", ["0009", "0011"])
def test_what_older_code_wrote_last_is_worked_out_again_before_it_is_used(pool, migration):
    before = dict(NormalisedSet.objects.values_list("pk", "lowest_share"))
    Pull.objects.filter(pull_set__isnull=False).update(reading_N=60.0)
    NormalisedSet.objects.exclude(pk=None).update(lowest_share=0.99, missed_peak_log=0.5)
    rewritten_by_code_of(migration)
    assert not NormalisedSet.objects.filter(lowest_share__lt=0.9).exists()

    stale_marks.mark([pool.pk], "after the upgrade")
    embedded.drain()

    now = dict(NormalisedSet.objects.values_list("pk", "lowest_share"))
    assert all(0.55 < now[pk] < 0.65 for pk in before)
    assert not NormalisedSet.objects.exclude(missed_peak_log=None).exists()
    pool.refresh_from_db()
    assert pool.current.findings["worst"]["efficiency"] == min(now.values())


def test_a_resolution_that_older_code_left_is_worked_out_again_before_the_pool_is(pool):
    """No revision was corrected, so that a set keeps no resolution of its own."""
    NormalisedSet.objects.update(resolution_N=25.0)
    rewritten_by_code_of("0013")
    assert set(NormalisedSet.objects.values_list("resolution_N", flat=True)) == {25.0}

    stale_marks.mark([pool.pk], "after the upgrade")
    embedded.drain()

    assert set(NormalisedSet.objects.values_list("resolution_N", flat=True)) == {None}
    pool.refresh_from_db()
    assert not pool.current.inputs.get("resolutions_N")


def test_what_this_code_wrote_last_is_not_worked_out_again(pool):
    NormalisedSet.objects.update(lowest_share=0.42)
    stale_marks.mark([pool.pk], "a change")
    embedded.drain()
    assert set(NormalisedSet.objects.values_list("lowest_share", flat=True)) == {0.42}


def test_a_version_that_older_code_inserted_is_followed_by_one_with_all_columns(pool):
    older = model_at("0001", "PoolVersion")
    known = {
        name: getattr(pool.current, name)
        for name in ("testers", "sessions", "sets", "pulls", "efficiency", "figures")
    }
    version = older.objects.create(pool_id=pool.pk, number=2, **known)
    Pool.objects.update(current=version.pk)

    stale_marks.mark([pool.pk], "after the upgrade")
    embedded.drain()

    pool.refresh_from_db()
    assert pool.current.number == 3
    assert pool.current.findings["endings"]["counted"] == pool.current.pulls
