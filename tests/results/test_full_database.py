"""A database that is full: what waits for it waits, and loses none of its tries."""

import pytest
from django.db import connection, transaction

from results import completing, jobs, pooling
from results.draining import drain
from results.models import Job, Pool, StalePool
from tests import making

FULL = "53100"


@pytest.fixture
def job(owner) -> Job:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [70, 75, 72, 78])
    return jobs.enqueue(session)


def in_trouble(code: str):
    """PostgreSQL itself gives that code of its manual, whatever it was asked for."""

    def ask(*_asked, **_more):
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"DO $$ BEGIN RAISE 'no' USING ERRCODE = '{code}'; END $$")

    return ask


def test_a_job_that_met_it_is_tried_again_and_never_told_as_failed_for_it(
    job, monkeypatch, settings
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    with monkeypatch.context() as while_full:
        while_full.setattr("results.jobs.normalise_session", in_trouble(FULL))
        for _ in range(4):
            jobs.run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts, job.problem) == ("queued", 0, None)

    drain()
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("done", 1)


@pytest.mark.parametrize("code", ["57014", "57P01"], ids=["took too long", "cut off"])
def test_a_job_that_the_database_refuses_for_another_reason_is_told_as_failed(
    job, monkeypatch, settings, code
):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    monkeypatch.setattr("results.jobs.normalise_session", in_trouble(code))
    for _ in range(2):
        jobs.run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("failed", 2)


def test_a_pool_that_met_it_is_computed_and_completed_afterwards(job, monkeypatch, settings):
    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    drain()
    pool = Pool.objects.get()
    StalePool.objects.create(pool=pool, why="a set came")
    with monkeypatch.context() as while_full:
        while_full.setattr("results.pooling.members_of", in_trouble(FULL))
        while_full.setattr("results.completing.comparison_is_due", lambda _pool: True)
        while_full.setattr("results.completing.compare_joins", in_trouble(FULL))
        for _ in range(4):
            pooling.refresh_pool(pool.pk)
            completing.complete_pool(pool.pk)
    pool.refresh_from_db()
    assert pool.failures == 0
    assert StalePool.objects.exists()

    drain()
    assert not StalePool.objects.exists()
