"""The queue: a job is made with its upload, claimed by one worker at a time, and never lost."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

import structlog
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Coalesce, Now

from results.jobs import notify
from results.jobs.after_commit import after_commit
from results.jobs.attempts import excuse, keep, keep_owed
from results.jobs.backoff import (
    count_from_now,
    incomplete_to_wake,
    jobs_to_wake,
    stale_to_wake,
)
from results.jobs.database_clock import from_now
from results.jobs.unfinished import given_up, incomplete_pools, stale_pools
from results.models import Job, Pool, PullSet, Session

WHAT_NEXT = (
    "The session is stored: don't send it again. Moderators see that it failed and can have it run "
    "again; if you find a mistake in it, send a corrected version."
)

log = structlog.get_logger(__name__)


def enqueue(session: Session) -> Job:
    """Make the job of a session in the caller's transaction; a worker is woken on commit."""
    job = Job.objects.create(session=session)
    after_commit(lambda: log.info("job made", job=str(job.pk), session=session.pk))
    after_commit(notify.wake_job, job.pk)
    return job


def claim(job_id: uuid.UUID) -> Job | None:
    """Take a job to run, by one conditional UPDATE; None where it is done or someone else's.

    The lease is on the database's clock, so that workers need not agree on the time.
    """
    free = Q(state=Job.State.QUEUED) | Q(state=Job.State.RUNNING, lease_expires_at__lt=Now())
    taken = Job.objects.filter(
        free, pk=job_id, attempts__lt=settings.SAMESPOOL_JOB_ATTEMPTS
    ).update(
        state=Job.State.RUNNING,
        step=Job.Step.NORMALISING,
        attempts=F("attempts") + 1,
        lease_expires_at=from_now(settings.SAMESPOOL_LEASE_SECONDS),
        started_at=Coalesce(F("started_at"), Now()),
    )
    return Job.objects.get(pk=job_id) if taken else None


def free_leases() -> None:
    """Have what a process that ended was running run again; its attempt stays counted.

    For a process that starts where no other works: embedded, at its start.
    """
    left = Job.objects.filter(state=Job.State.RUNNING, lease_expires_at__isnull=False)
    left.update(state=Job.State.QUEUED, step=Job.Step.WAITING, lease_expires_at=None)


def retry(job_ids: Iterable[uuid.UUID]) -> int:
    """Give failed jobs all their attempts anew, and their pools too; returns how many went back.

    One conditional UPDATE each, so that a job that someone else sent back runs once.
    """
    wanted = sorted(set(job_ids))
    with transaction.atomic():
        failed = Job.objects.filter(pk__in=wanted, state=Job.State.FAILED)
        sessions = list(failed.values_list("session_id", flat=True))
        count = failed.update(
            state=Job.State.QUEUED,
            step=Job.Step.WAITING,
            attempts=0,
            excused=0,
            woken_at=F("created_at"),
            problem=None,
            finished_at=None,
        )
        pools = Pool.objects.filter(normalised_sets__pull_set__session__in=sessions)
        Pool.objects.filter(pk__in=list(pools.values_list("pk", flat=True))).update(
            failures=0, excused=0
        )
        for job_id in wanted:
            after_commit(notify.wake_job, job_id)
    return count


def finish_pooled() -> None:
    """Finish every job whose session has no set left in a stale pool."""
    waiting = Job.objects.filter(state=Job.State.RUNNING, step=Job.Step.POOLING).exclude(
        session__pull_sets__normalised__pool__stale_marks__isnull=False
    )
    Job.objects.filter(
        pk__in=list(waiting.values_list("pk", flat=True)), state=Job.State.RUNNING
    ).update(
        state=Job.State.DONE,
        step=Job.Step.FINISHED,
        lease_expires_at=None,
        problem=None,
        finished_at=Now(),
    )


def take_up_failed_by(pool_id: int) -> None:
    """Within the transaction that computes a pool: jobs it had failed wait for their pools again.

    ``finish_pooled`` then finishes those that have no other stale pool.
    """
    sessions = PullSet.objects.filter(normalised__pool=pool_id).values("session")
    Job.objects.filter(state=Job.State.FAILED, step=Job.Step.POOLING, session__in=sessions).update(
        state=Job.State.RUNNING, problem=None, finished_at=None
    )


def sweep() -> None:
    """Send again for what may be lost, and fail what has had all its attempts.

    A job may be lost when it has waited through a whole sweep or its lease has run out; the work
    on a pool when it has waited that long. ``results.jobs.backoff`` says how often.
    """
    keep_owed()
    count_from_now()
    a_sweep_ago = from_now(-settings.SAMESPOOL_SWEEP_SECONDS)
    unfinished = Job.objects.filter(
        Q(state=Job.State.QUEUED, created_at__lt=a_sweep_ago)
        | Q(state=Job.State.RUNNING, lease_expires_at__lt=Now())
    )
    unfinished.filter(attempts__gte=settings.SAMESPOOL_JOB_ATTEMPTS).update(
        state=Job.State.FAILED,
        finished_at=Now(),
        problem=_problem("The worker stopped before it could say why, at each attempt."),
    )
    for job_id in jobs_to_wake(unfinished):
        notify.wake_job(job_id)
    for pool_id in stale_to_wake(stale_pools(a_sweep_ago)):
        notify.wake_pool(pool_id)
    for pool_id in incomplete_to_wake(incomplete_pools(a_sweep_ago)):
        notify.wake_to_complete(pool_id)
    failed = given_up(a_sweep_ago)
    Pool.objects.filter(pk__in=failed, failed_at=None).update(failed_at=Now())
    Job.objects.filter(
        state=Job.State.RUNNING,
        step=Job.Step.POOLING,
        session__pull_sets__normalised__pool__in=failed,
    ).update(
        state=Job.State.FAILED,
        finished_at=Now(),
        problem=_problem("A pool of this session could not be computed."),
    )
    finish_pooled()


def advance(job: Job, step: Job.Step) -> bool:
    """Within a writing transaction: set the step, if no one else has claimed the job meanwhile."""
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    return bool(ours.update(step=step))


def advance_to_pooling(job: Job) -> bool:
    """The last step: as `advance`, and the lease is given up.

    From here on the marks on its pools stand for what is left to do.
    """
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    return bool(ours.update(step=Job.Step.POOLING, lease_expires_at=None))


def give_back(job: Job, error: Exception) -> None:
    """Keep what broke off; its message is used up, so the next sweep sends again.

    While the database is in trouble no attempt is counted, and it is tried ever more seldom.
    """
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    waits = {"state": Job.State.QUEUED, "lease_expires_at": None}
    last = job.attempts >= settings.SAMESPOOL_JOB_ATTEMPTS
    ended = {"state": Job.State.FAILED, "finished_at": Now()} if last else {}

    def write() -> None:
        if not excuse(ours, "attempts", error, **waits, woken_at=Now()):
            problem = _problem(f"Working it out broke off ({type(error).__name__}).")
            ours.update(**(waits | ended), woken_at=F("created_at"), problem=problem)

    keep(write)


def _problem(detail: str) -> dict[str, Any]:
    return {
        "type": "/problems/job-failed",
        "title": "This session could not be worked out",
        "status": 500,
        "detail": f"{detail} {WHAT_NEXT}",
    }
