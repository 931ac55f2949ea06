"""Embedded mode: one thread of the web process drains the jobs, by the same verbs as a worker."""

from __future__ import annotations

import threading
import uuid

import structlog
from django.conf import settings
from django.db import close_old_connections

from results import completing, exporting, jobs, pooling
from results.clock import from_now
from results.models import Job, Release
from results.outdated import sweep_outdated
from results.unfinished import incomplete_pools, stale_pools
from results.waking import work_waits

log = structlog.get_logger(__name__)


def start_draining() -> threading.Thread:
    """Start the draining thread of this process."""
    thread = threading.Thread(target=_drain_for_ever, name="draining", daemon=True)
    thread.start()
    return thread


def drain() -> None:
    """Run every waiting job, then recompute and complete pools, until none brings up a job."""
    _run_jobs()
    _refresh_pools()
    while _waiting_jobs():
        _run_jobs()
        _refresh_pools()


def _run_jobs() -> None:
    while job_ids := _waiting_jobs():
        for job_id in job_ids:
            jobs.run(job_id)


def _refresh_pools() -> None:
    # SQLite's clock counts milliseconds, so that a mark just made would lie ahead of it.
    for pool_id in stale_pools(from_now(1)):
        pooling.refresh_pool(pool_id)
    jobs.finish_pooled()
    for pool_id in incomplete_pools(from_now(1)):
        completing.complete_pool(pool_id)


def make_releases() -> None:
    """Make every release of the open data that was asked for."""
    waiting = Release.objects.filter(state=Release.State.QUEUED)
    for release_id in waiting.values_list("pk", flat=True):
        exporting.make(release_id)


def _waiting_jobs() -> list[uuid.UUID]:
    waiting = Job.objects.filter(state=Job.State.QUEUED).order_by("created_at")
    return list(waiting.values_list("pk", flat=True))


def _drain_for_ever() -> None:
    while True:
        work_waits.wait(timeout=settings.SAMESPOOL_SWEEP_SECONDS)
        work_waits.clear()
        close_old_connections()
        try:
            jobs.sweep()
            sweep_outdated()
            drain()
            exporting.sweep_releases()
            make_releases()
        except Exception:
            log.exception("draining broke off; it goes on at the next sweep")
        close_old_connections()
