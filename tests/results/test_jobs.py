"""Jobs: the row is the truth. Claimed once, given back when lost, failed with a reason."""

from datetime import timedelta

import pytest
from django.utils import timezone

from results.jobs import queue
from results.models import Job, NormalisedSet, Screening, Session, StalePool
from results.normalising.normalise import normalise_session
from results.screening.screen import screen_session
from results.worker.embedded import drain
from tests import making


@pytest.fixture
def session(owner) -> Session:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [70, 75, 72, 78])
    return session


@pytest.fixture
def job(session) -> Job:
    return queue.enqueue(session)


def lose_its_worker(job: Job) -> None:
    """What a killed worker leaves behind once its lease has run out."""
    Job.objects.filter(pk=job.pk).update(lease_expires_at=timezone.now() - timedelta(minutes=1))


def test_a_job_is_claimed_by_one_worker_only(job):
    first, second = queue.claim(job.pk), queue.claim(job.pk)

    assert first is not None
    assert first.attempts == 1
    assert second is None


def test_a_job_whose_worker_was_killed_can_be_claimed_again(job):
    queue.claim(job.pk)
    lose_its_worker(job)

    again = queue.claim(job.pk)

    assert again is not None
    assert again.attempts == 2


def test_draining_finishes_the_job_and_leaves_no_pool_stale(job, session):
    drain()

    job.refresh_from_db()
    assert (job.state, job.step) == ("done", "finished")
    assert job.finished_at is not None
    assert not StalePool.objects.exists()
    assert session.pull_sets.get().state == "pooled"


def test_a_job_run_twice_counts_its_set_once(job, session):
    drain()
    Job.objects.filter(pk=job.pk).update(state="queued")
    drain()

    assert session.pull_sets.get().memberships.filter(until__isnull=True).count() == 1


def test_a_worker_that_wakes_up_late_does_not_write_over_the_one_that_took_its_place(job, session):
    late = queue.claim(job.pk)
    lose_its_worker(job)
    queue.claim(job.pk)

    normalise_session(session.pk, still_ours=lambda: queue.advance_to_pooling(late))
    screen_session(
        session.pk, still_ours=lambda: queue.advance_to_pooling(late), follow=lambda: None
    )

    assert session.pull_sets.get().state == "received"
    assert not NormalisedSet.objects.exists()
    assert not Screening.objects.exists()


def test_a_job_that_fails_every_time_is_marked_as_failed(job, settings):
    settings.SAMESPOOL_JOB_ATTEMPTS = 1
    claimed = queue.claim(job.pk)
    lose_its_worker(claimed)
    Job.objects.filter(pk=job.pk).update(created_at=timezone.now() - timedelta(hours=1))

    queue.sweep()

    job.refresh_from_db()
    assert job.state == "failed"
    assert "stopped before it could say why" in job.problem["detail"]


def test_a_set_without_an_efficiency_says_why_and_its_job_is_done(owner):
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [70, 75, 72], ["grip", "grip", "none"])
    job = queue.enqueue(session)

    drain()

    job.refresh_from_db()
    assert job.state == "done"
    pull_set = session.pull_sets.get()
    assert pull_set.state == "received"
    assert "3 exact loads are needed" in pull_set.not_normalised
