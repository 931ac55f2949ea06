"""A message may be lost or only late: the sweeper sends it again, with exponential backoff."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.db.models import F
from django.db.models.functions import Now

from results.jobs import queue
from results.jobs.backoff import incomplete_pools_to_resend, jobs_to_resend, stale_pools_to_resend
from results.models import Job, Pool, PoolVersion, StalePool
from results.worker import run_session
from rigs.models import Material
from tests import making


@pytest.fixture
def job(owner) -> Job:
    return queue.enqueue(making.session(making.revision_of(owner)))


@pytest.fixture
def pool(db) -> Pool:
    return Pool.objects.create(connection=making.connection(), main_material=Material.NYLON)


def let_pass(rows, seconds: float, *fields: str) -> None:
    """Set what is stored of those rows back by so much."""
    rows.update(**{field: F(field) - timedelta(seconds=seconds) for field in fields})


def times_sent(rows, to_resend, began: str, hours: float) -> int:
    """How often the sweeper sends while something waits for so long."""
    sent = 0
    sweeps = int(hours * 3600 / settings.SAMESPOOL_SWEEP_SECONDS)
    for _ in range(sweeps):
        let_pass(rows, settings.SAMESPOOL_SWEEP_SECONDS, began, "woken_at")
        sent += len(to_resend())
    return sent


def test_a_job_whose_message_was_lost_is_sent_another_at_the_next_sweep(job):
    let_pass(Job.objects.all(), settings.SAMESPOOL_SWEEP_SECONDS, "created_at", "woken_at")
    assert jobs_to_resend(Job.objects.all()) == [job.pk]


def test_two_sweeps_at_once_send_one_message(job):
    let_pass(Job.objects.all(), 60, "created_at", "woken_at")
    assert jobs_to_resend(Job.objects.all()) == [job.pk]
    assert jobs_to_resend(Job.objects.all()) == []


def test_a_job_that_waits_an_hour_behind_others_gets_some_ten_messages(job):
    sent = times_sent(
        Job.objects.all(), lambda: jobs_to_resend(Job.objects.all()), "created_at", hours=1
    )
    assert 8 <= sent <= 12


def test_a_stale_pool_gets_as_few(pool):
    StalePool.objects.create(pool=pool, why="a set came")
    sent = times_sent(
        StalePool.objects.all(), lambda: stale_pools_to_resend([pool.pk]), "marked_at", hours=1
    )
    assert 8 <= sent <= 12


def test_a_job_whose_worker_ended_is_sent_again_once_its_lease_has_run_out(job):
    let_pass(Job.objects.all(), 600, "created_at")
    claimed = queue.claim(job.pk)
    assert jobs_to_resend(Job.objects.filter(lease_expires_at__lt=Now())) == []

    let_pass(
        Job.objects.all(), settings.SAMESPOOL_LEASE_SECONDS + 1, "lease_expires_at", "woken_at"
    )
    assert jobs_to_resend(Job.objects.filter(lease_expires_at__lt=Now())) == [claimed.pk]
    assert jobs_to_resend(Job.objects.filter(lease_expires_at__lt=Now())) == []


def test_a_job_that_failed_is_retried_at_the_next_sweep(job, monkeypatch):
    let_pass(Job.objects.all(), 600, "created_at")
    monkeypatch.setattr("results.worker.run_session.normalise_session", None)
    run_session.run(job.pk)
    assert jobs_to_resend(Job.objects.filter(state="queued")) == [job.pk]


def test_times_written_while_the_clock_ran_ahead_are_set_to_now(job, pool):
    queue.claim(job.pk)
    StalePool.objects.create(pool=pool, why="a set came")
    let_pass(Job.objects.all(), -3600, "created_at", "woken_at", "lease_expires_at")
    let_pass(StalePool.objects.all(), -3600, "marked_at", "woken_at")

    queue.sweep()
    let_pass(
        Job.objects.all(), settings.SAMESPOOL_LEASE_SECONDS + 1, "lease_expires_at", "woken_at"
    )
    let_pass(StalePool.objects.all(), settings.SAMESPOOL_SWEEP_SECONDS, "marked_at", "woken_at")

    assert jobs_to_resend(Job.objects.filter(lease_expires_at__lt=Now())) == [job.pk]
    assert stale_pools_to_resend([pool.pk]) == [pool.pk]


@pytest.mark.usefixtures("planted_past")
def test_a_pool_that_is_not_drawn_has_no_mark_and_gets_as_few(pool):
    pool.current = PoolVersion.objects.create(
        pool=pool, number=1, testers=1, sessions=1, sets=1, pulls=5
    )
    pool.save()
    sent = times_sent(
        PoolVersion.objects.all(),
        lambda: incomplete_pools_to_resend([pool.pk]),
        "computed_at",
        hours=1,
    )
    assert 8 <= sent <= 12
