"""Faults of the database: the work waits, and attempts count only if the work is to blame."""

import contextlib
import errno
import sqlite3

import pytest
from django.conf import settings as deployed
from django.db import connection, transaction

from results.jobs import attempts, queue
from results.jobs.database_errors import DatabaseFault, database_fault
from results.models import Job, Pool, Release, StalePool
from results.normalising.normalise import normalise_session
from results.open_data import releases
from results.pools import recompute
from results.worker import finish_pool, run_session
from results.worker.embedded import drain
from tests import making

CODES = {
    "full": "53100",
    "read-only": "25006",
    "locked": "55P03",
    "serialization": "40001",
    "deadlock": "40P01",
}
FAULTS = ["full", "read-only", "locked"] if deployed.EMBEDDED else list(CODES)


@pytest.fixture
def job(owner) -> Job:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [70, 75, 72, 78])
    return queue.enqueue(session)


def by_postgresql(code: str):
    """PostgreSQL itself gives that code of its manual, whatever it was asked for."""

    def ask(*_asked, **_more):
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"DO $$ BEGIN RAISE 'no' USING ERRCODE = '{code}'; END $$")

    return ask


@contextlib.contextmanager
def pragma(cursor, name: str, value: int, before: int):
    cursor.execute(f"PRAGMA {name} = {value}")
    try:
        yield
    finally:
        cursor.execute(f"PRAGMA {name} = {before}")


def full(*_asked, **_more):
    with connection.cursor() as cursor, pragma(cursor, "max_page_count", 1, 2**30):
        cursor.execute("CREATE TABLE too_large AS SELECT randomblob(10000000)")


def read_only(*_asked, **_more):
    with connection.cursor() as cursor, pragma(cursor, "query_only", 1, 0):
        cursor.execute("UPDATE results_job SET attempts = 0")


def locked(*_asked, **_more):
    """The story's own transaction holds the lock."""
    file = connection.settings_dict["NAME"]
    with contextlib.closing(sqlite3.connect(file, timeout=0, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")


BY_SQLITE = {"full": full, "read-only": read_only, "locked": locked}


def faulty(name: str):
    return BY_SQLITE[name] if deployed.EMBEDDED else by_postgresql(CODES[name])


@pytest.mark.parametrize("fault", FAULTS)
def test_a_job_that_met_a_fault_of_the_database_is_tried_again_and_never_fails_for_it(
    job, monkeypatch, settings, fault
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("results.worker.run_session.normalise_session", faulty(fault))
        for _ in range(4):
            run_session.run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts, job.problem) == ("queued", 0, None)

    drain()
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("done", 1)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_pool_that_met_a_fault_of_the_database_is_computed_and_completed_afterwards(
    job, monkeypatch, settings, fault
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    drain()
    pool = Pool.objects.get()
    StalePool.objects.create(pool=pool, why="a set came")
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("results.pools.recompute.members_of", faulty(fault))
        meanwhile.setattr("results.worker.finish_pool.comparison_is_due", lambda _pool: True)
        meanwhile.setattr("results.worker.finish_pool.compare_joins", faulty(fault))
        for _ in range(4):
            recompute.refresh_pool(pool.pk)
            finish_pool.complete_pool(pool.pk)
    pool.refresh_from_db()
    assert (pool.failures, pool.failed_at, pool.current.attempts) == (0, None, 0)
    assert StalePool.objects.exists()

    drain()
    assert not StalePool.objects.exists()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_release_that_met_a_fault_of_the_database_is_made_afterwards(
    db, monkeypatch, settings, fault
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    release = Release.objects.create()
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("results.open_data.releases._make", faulty(fault))
        for _ in range(4):
            releases.make(release.pk)
    release.refresh_from_db()
    assert (release.state, release.attempts) == ("queued", 0)


def test_an_embedded_process_goes_on_with_the_others_while_one_job_meets_a_fault(
    job, monkeypatch, owner
):
    """It neither spins on that job nor gives up the rest; the next drain tries it again."""
    other = queue.enqueue(making.session(making.revision_of(owner, name="second")))
    normalise, ran = normalise_session, []

    def meet_it(session_id, **options):
        ran.append(session_id)
        if session_id == job.session_id:
            faulty("full")()
        normalise(session_id, **options)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("results.worker.run_session.normalise_session", meet_it)
        drain()
    assert ran == [job.session_id, other.session_id]
    assert set(Job.objects.values_list("state", flat=True)) == {"queued", "done"}

    drain()
    assert set(Job.objects.values_list("state", flat=True)) == {"done"}


def test_how_an_attempt_ended_is_written_once_the_database_can_be_written_to(job, monkeypatch):
    """What kept the job from its end keeps its failure from being written as well."""
    real = attempts.excuse
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("results.worker.run_session.normalise_session", faulty("read-only"))
        meanwhile.setattr("results.jobs.queue.excuse", faulty("read-only"))
        run_session.run(job.pk)
        job.refresh_from_db()
        assert (job.state, job.attempts) == ("running", 1)
        meanwhile.setattr("results.jobs.queue.excuse", real)
        attempts.flush_deferred_writes()
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("queued", 0)


class Unknown(Exception):
    """No fault of the database's."""


@pytest.mark.parametrize(
    ("code", "errors"), [("57014", 2), ("57P01", 2 + attempts.LOST_CONNECTIONS)]
)
def test_a_job_that_takes_too_long_or_its_connection_along_each_time_ends_as_failed(
    job, monkeypatch, settings, code, errors
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    raised = Unknown() if deployed.EMBEDDED and code == "57014" else None
    cut_off = sqlite3.OperationalError("disk I/O error")
    cut_off.sqlite_errorcode = sqlite3.SQLITE_IOERR

    def fail(*_asked, **_more):
        raise raised or cut_off

    breaks = fail if deployed.EMBEDDED else by_postgresql(code)
    monkeypatch.setattr("results.worker.run_session.normalise_session", breaks)
    states = []
    for _ in range(errors):
        run_session.run(job.pk)
        job.refresh_from_db()
        states.append(job.state)
    assert states == ["queued"] * (errors - 1) + ["failed"]
    assert "don't send it again" in job.problem["detail"]
    assert "Moderators see that it failed" in job.problem["detail"]


def raise_for_another() -> None:
    try:
        raise OSError(errno.ENOSPC, "No space left on device")
    except OSError as error:
        raise Unknown from error


def test_an_error_that_was_raised_for_another_is_known_by_the_first():
    with pytest.raises(Unknown) as found:
        raise_for_another()
    assert database_fault(found.value) is DatabaseFault.FULL
    assert database_fault(Unknown()) is None
    assert database_fault(OSError(errno.EACCES, "Permission denied")) is None
