"""Embedded mode: one thread of the web process drains the jobs, by the same verbs as a worker."""

from __future__ import annotations

import threading
import uuid

import structlog
from django.conf import settings
from django.db import close_old_connections
from django.db.models import Q
from django.db.models.functions import Now

from results.jobs import queue
from results.jobs.database_clock import from_now
from results.jobs.notify import work_waits
from results.jobs.unfinished import incomplete_pools, stale_pools
from results.models import Job, Release
from results.open_data import releases
from results.pools import recompute
from results.pools.outdated import sweep_outdated
from results.worker import finish_pool, run_session

log = structlog.get_logger(__name__)


def start_draining() -> threading.Thread:
    """Start the draining thread of this process."""
    thread = threading.Thread(target=_drain_for_ever, name="draining", daemon=True)
    thread.start()
    return thread


def drain() -> None:
    """Run every waiting job, then recompute and complete pools, until none brings up a job.

    A job that the database's trouble kept from running waits for the next time.
    """
    held_up: set[uuid.UUID] = set()
    _run_jobs(held_up)
    _refresh_pools()
    while _waiting_jobs(held_up):
        _run_jobs(held_up)
        _refresh_pools()


def _run_jobs(held_up: set[uuid.UUID]) -> None:
    while job_ids := _waiting_jobs(held_up):
        held_up.update(job_id for job_id in job_ids if not run_session.run(job_id))


def _refresh_pools() -> None:
    # SQLite's clock counts milliseconds, so that a mark just made would lie ahead of it.
    for pool_id in stale_pools(from_now(1)):
        recompute.refresh_pool(pool_id)
    queue.finish_pooled()
    for pool_id in incomplete_pools(from_now(1)):
        finish_pool.complete_pool(pool_id)


def make_releases() -> None:
    """Make every release of the open data that was asked for."""
    waiting = Release.objects.filter(state=Release.State.QUEUED)
    for release_id in waiting.values_list("pk", flat=True):
        releases.make(release_id)


def _waiting_jobs(held_up: set[uuid.UUID]) -> list[uuid.UUID]:
    """Jobs queued, or run by a process whose lease ended, that the queue may still run."""
    expired = Q(state=Job.State.RUNNING, lease_expires_at__lt=Now())
    waiting = Job.objects.filter(
        Q(state=Job.State.QUEUED) | expired, attempts__lt=settings.SAMESPOOL_JOB_ATTEMPTS
    )
    ids = waiting.order_by("created_at").values_list("pk", flat=True)
    return [job_id for job_id in ids if job_id not in held_up]


def _drain_for_ever() -> None:
    freed = False
    while True:
        close_old_connections()
        try:
            if not freed:
                queue.free_leases()
                releases.free_leases()
                freed = True
            queue.sweep()
            sweep_outdated()
            drain()
            releases.sweep_releases()
            make_releases()
        except Exception:
            log.exception("draining broke off; it goes on at the next sweep")
        close_old_connections()
        work_waits.wait(timeout=settings.SAMESPOOL_SWEEP_SECONDS)
        work_waits.clear()
