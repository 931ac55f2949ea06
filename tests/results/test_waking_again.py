"""A message may be lost or only late: the sweeper sends again, ever more seldom."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.db.models import F
from django.db.models.functions import Now

from results.jobs import queue
from results.jobs.backoff import incomplete_to_wake, jobs_to_wake, stale_to_wake
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


def times_sent(rows, to_wake, began: str, hours: float) -> int:
    """How often the sweeper sends while something waits for so long."""
    sent = 0
    sweeps = int(hours * 3600 / settings.SAMESPOOL_SWEEP_SECONDS)
    for _ in range(sweeps):
        let_pass(rows, settings.SAMESPOOL_SWEEP_SECONDS, began, "woken_at")
        sent += len(to_wake())
    return sent


def test_a_job_whose_message_was_lost_is_sent_for_at_the_next_sweep(job):
    let_pass(Job.objects.all(), settings.SAMESPOOL_SWEEP_SECONDS, "created_at", "woken_at")
    assert jobs_to_wake(Job.objects.all()) == [job.pk]


def test_two_sweeps_at_once_send_for_it_once(job):
    let_pass(Job.objects.all(), 60, "created_at", "woken_at")
    assert jobs_to_wake(Job.objects.all()) == [job.pk]
    assert jobs_to_wake(Job.objects.all()) == []


def test_who_waits_an_hour_behind_others_is_sent_for_some_ten_times(job):
    sent = times_sent(
        Job.objects.all(), lambda: jobs_to_wake(Job.objects.all()), "created_at", hours=1
    )
    assert 8 <= sent <= 12


def test_a_stale_pool_is_sent_for_as_seldom(pool):
    StalePool.objects.create(pool=pool, why="a set came")
    sent = times_sent(
        StalePool.objects.all(), lambda: stale_to_wake([pool.pk]), "marked_at", hours=1
    )
    assert 8 <= sent <= 12


def test_a_job_whose_worker_ended_is_sent_for_once_its_lease_has_run_out(job):
    let_pass(Job.objects.all(), 600, "created_at")
    claimed = queue.claim(job.pk)
    assert jobs_to_wake(Job.objects.filter(lease_expires_at__lt=Now())) == []

    let_pass(
        Job.objects.all(), settings.SAMESPOOL_LEASE_SECONDS + 1, "lease_expires_at", "woken_at"
    )
    assert jobs_to_wake(Job.objects.filter(lease_expires_at__lt=Now())) == [claimed.pk]
    assert jobs_to_wake(Job.objects.filter(lease_expires_at__lt=Now())) == []


def test_a_job_that_broke_off_is_tried_again_at_the_next_sweep(job, monkeypatch):
    let_pass(Job.objects.all(), 600, "created_at")
    monkeypatch.setattr("results.worker.run_session.normalise_session", None)
    run_session.run(job.pk)
    assert jobs_to_wake(Job.objects.filter(state="queued")) == [job.pk]


def test_what_began_while_the_clock_ran_ahead_waits_from_now_on_and_not_for_that_hour(job, pool):
    queue.claim(job.pk)
    StalePool.objects.create(pool=pool, why="a set came")
    let_pass(Job.objects.all(), -3600, "created_at", "woken_at", "lease_expires_at")
    let_pass(StalePool.objects.all(), -3600, "marked_at", "woken_at")

    queue.sweep()
    let_pass(
        Job.objects.all(), settings.SAMESPOOL_LEASE_SECONDS + 1, "lease_expires_at", "woken_at"
    )
    let_pass(StalePool.objects.all(), settings.SAMESPOOL_SWEEP_SECONDS, "marked_at", "woken_at")

    assert jobs_to_wake(Job.objects.filter(lease_expires_at__lt=Now())) == [job.pk]
    assert stale_to_wake([pool.pk]) == [pool.pk]


def test_a_pool_that_is_not_drawn_has_no_mark_and_is_sent_for_as_seldom(pool):
    pool.current = PoolVersion.objects.create(
        pool=pool, number=1, testers=1, sessions=1, sets=1, pulls=5
    )
    pool.save()
    sent = times_sent(
        PoolVersion.objects.all(), lambda: incomplete_to_wake([pool.pk]), "computed_at", hours=1
    )
    assert 8 <= sent <= 12
