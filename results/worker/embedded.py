"""Embedded mode: one thread of the web process does the worker's work, by the same verbs."""

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
from results.jobs.notify import work_available
from results.jobs.unfinished import incomplete_pools, stale_pools
from results.models import Job, Release, audit_chain
from results.notices import mail_unsent
from results.open_data import releases, trace_months
from results.pools import recompute
from results.pools.outdated import sweep_outdated
from results.screening.shapes import sweep_shapes
from results.worker import finish_pool, run_session
from results.worker.expired import clear_expired
from results.worker.mail_news import mail_news
from results.worker.round_reports import make_round_reports, renew_round_reports

log = structlog.get_logger(__name__)


def start_worker_thread() -> threading.Thread:
    """Start this process's worker thread."""
    thread = threading.Thread(target=_run_forever, name="embedded-worker", daemon=True)
    thread.start()
    return thread


def drain() -> None:
    """Run every waiting job, then recompute and complete pools, until no job is left.

    A job that a fault of the database's kept from running waits for the next call.
    """
    skipped: set[uuid.UUID] = set()
    _run_jobs(skipped)
    _refresh_pools()
    while _waiting_jobs(skipped):
        _run_jobs(skipped)
        _refresh_pools()
    make_round_reports()
    renew_round_reports()


def _run_jobs(skipped: set[uuid.UUID]) -> None:
    while job_ids := _waiting_jobs(skipped):
        skipped.update(job_id for job_id in job_ids if not run_session.run(job_id))


def _refresh_pools() -> None:
    # SQLite's clock counts milliseconds, so that a mark just made would lie ahead of it.
    for pool_id in stale_pools(from_now(1)):
        recompute.refresh_pool(pool_id)
    queue.finish_pooled_jobs()
    for pool_id in incomplete_pools(from_now(1)):
        finish_pool.complete_pool(pool_id)


def make_releases() -> None:
    """Make every queued release of the open data."""
    waiting = Release.objects.filter(state=Release.State.QUEUED)
    for release_id in waiting.values_list("pk", flat=True):
        releases.make(release_id)


def _waiting_jobs(skipped: set[uuid.UUID]) -> list[uuid.UUID]:
    """Jobs that are queued or whose lease has expired, and that have attempts left."""
    expired = Q(state=Job.State.RUNNING, lease_expires_at__lt=Now())
    waiting = Job.objects.filter(
        Q(state=Job.State.QUEUED) | expired, attempts__lt=settings.SAMESPOOL_JOB_ATTEMPTS
    )
    ids = waiting.order_by("created_at").values_list("pk", flat=True)
    return [job_id for job_id in ids if job_id not in skipped]


def _run_forever() -> None:
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
            sweep_shapes()
            drain()
            releases.sweep_releases()
            make_releases()
            trace_months.write_what_is_due()
            mail_unsent()
            mail_news()
            audit_chain.seal()
            clear_expired()
        except Exception:
            log.exception("worker thread failed; it continues at the next sweep")
        close_old_connections()
        work_available.wait(timeout=settings.SAMESPOOL_SWEEP_SECONDS)
        work_available.clear()
