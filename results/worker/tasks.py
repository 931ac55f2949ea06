"""Celery tasks: thin calls of the verbs. A message carries an id; its row is the truth."""

from __future__ import annotations

import uuid

from celery import shared_task

from results import notices
from results.jobs import queue
from results.models import audit_chain
from results.open_data import releases, trace_months
from results.pools import outdated, recompute
from results.screening.shapes import sweep_shapes
from results.worker import expired, finish_pool, run_session
from results.worker import mail_news as mail
from results.worker.round_reports import make_round_reports, renew_round_reports


@shared_task(name="results.tasks.run_job")
def run_job(job_id: str) -> None:
    run_session.run(uuid.UUID(job_id))
    make_round_reports()


@shared_task(name="results.tasks.refresh_pool")
def refresh_pool(pool_id: int) -> None:
    recompute.refresh_pool(pool_id)


@shared_task(name="results.tasks.complete_pool")
def complete_pool(pool_id: int) -> None:
    finish_pool.complete_pool(pool_id)


@shared_task(
    name="results.tasks.make_release",
    soft_time_limit=releases.LEASE_S - 120,
    time_limit=releases.LEASE_S - 60,
)
def make_release(release_id: int) -> None:
    releases.make(release_id)


@shared_task(
    name="results.tasks.archive_traces",
    soft_time_limit=trace_months.LONGEST_S - 60,
    time_limit=trace_months.LONGEST_S,
)
def archive_traces() -> None:
    trace_months.write_what_is_due()


@shared_task(name="results.tasks.mail_news")
def mail_news() -> None:
    notices.mail_unsent()
    mail.mail_news()


@shared_task(name="results.tasks.clear_expired")
def clear_expired() -> None:
    expired.clear_expired()


@shared_task(name="results.tasks.sweep")
def sweep() -> None:
    queue.sweep()
    outdated.sweep_outdated()
    sweep_shapes()
    releases.sweep_releases()
    audit_chain.seal()
    renew_round_reports()
