"""The job queue: a job is created with its upload, claimed by one worker at a time, never lost."""

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
from results.jobs.attempts import excuse, flush_deferred_writes, write_or_defer
from results.jobs.backoff import (
    clamp_future_times,
    incomplete_pools_to_resend,
    jobs_to_resend,
    stale_pools_to_resend,
)
from results.jobs.database_clock import from_now
from results.jobs.unfinished import incomplete_pools, pools_out_of_attempts, stale_pools
from results.models import Job, Pool, PullSet, Session

WHAT_NEXT = (
    "The session is stored: don't send it again. Moderators see that it failed and can have it run "
    "again; if you find a mistake in it, send a corrected version."
)

log = structlog.get_logger(__name__)


def enqueue(session: Session) -> Job:
    """Create a session's job in the caller's transaction; a message is sent on commit."""
    job = Job.objects.create(session=session)
    after_commit(lambda: log.info("job made", job=str(job.pk), session=session.pk))
    after_commit(notify.wake_job, job.pk)
    return job


def claim(job_id: uuid.UUID) -> Job | None:
    """Claim a job by one conditional UPDATE; None if it is done or another worker holds it.

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
    """Requeue jobs that a process left running when it ended; their attempts stay counted.

    Only safe where no other process works: embedded, at start-up.
    """
    left = Job.objects.filter(state=Job.State.RUNNING, lease_expires_at__isnull=False)
    left.update(state=Job.State.QUEUED, step=Job.Step.WAITING, lease_expires_at=None)


def retry(job_ids: Iterable[uuid.UUID]) -> int:
    """Requeue failed jobs, and reset their attempts and those of their pools.

    Returns how many were requeued. One conditional UPDATE, so that a job which two people retry
    runs once.
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


def finish_pooled_jobs() -> None:
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


def reopen_jobs_failed_by(pool_id: int) -> None:
    """Reopen jobs that failed because this pool did, within the transaction that computes it.

    ``finish_pooled_jobs`` then finishes those without another stale pool.
    """
    sessions = PullSet.objects.filter(normalised__pool=pool_id).values("session")
    Job.objects.filter(state=Job.State.FAILED, step=Job.Step.POOLING, session__in=sessions).update(
        state=Job.State.RUNNING, problem=None, finished_at=None
    )


def sweep() -> None:
    """Send messages again that may be lost, and fail work that is out of attempts.

    A job's message may be lost when the job has waited for a whole sweep or its lease has expired;
    a pool's when the pool has waited that long. ``results.jobs.backoff`` says how often to send.
    """
    flush_deferred_writes()
    clamp_future_times()
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
    for job_id in jobs_to_resend(unfinished):
        notify.wake_job(job_id)
    for pool_id in stale_pools_to_resend(stale_pools(a_sweep_ago)):
        notify.wake_pool(pool_id)
    for pool_id in incomplete_pools_to_resend(incomplete_pools(a_sweep_ago)):
        notify.wake_to_finish(pool_id)
    failed = pools_out_of_attempts(a_sweep_ago)
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
    finish_pooled_jobs()


def advance(job: Job, step: Job.Step) -> bool:
    """Set the step if we still hold the job; within the transaction that writes its results."""
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    return bool(ours.update(step=step))


def advance_to_pooling(job: Job) -> bool:
    """As `advance`, for the last step, and give up the lease.

    What is left to do after it is read from the stale marks on its pools.
    """
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    return bool(ours.update(step=Job.Step.POOLING, lease_expires_at=None))


def record_failure(job: Job, error: Exception) -> None:
    """Record a failed attempt; the next sweep sends another message.

    A fault of the database's counts as no attempt, and the job is retried with backoff.
    """
    ours = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)
    requeued = {"state": Job.State.QUEUED, "lease_expires_at": None}
    last = job.attempts >= settings.SAMESPOOL_JOB_ATTEMPTS
    ended = {"state": Job.State.FAILED, "finished_at": Now()} if last else {}

    def write() -> None:
        if not excuse(ours, "attempts", error, **requeued, woken_at=Now()):
            problem = _problem(f"Processing failed ({type(error).__name__}).")
            ours.update(**(requeued | ended), woken_at=F("created_at"), problem=problem)

    write_or_defer(write)


def _problem(detail: str) -> dict[str, Any]:
    return {
        "type": "/problems/job-failed",
        "title": "This session could not be processed",
        "status": 500,
        "detail": f"{detail} {WHAT_NEXT}",
    }
