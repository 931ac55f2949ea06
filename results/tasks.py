"""Celery's way in to the verbs. A message carries an id; the row it names is the truth."""

from __future__ import annotations

import uuid

from celery import shared_task

from results import completing, exporting, jobs, outdated, pooling


@shared_task(name="results.tasks.run_job")
def run_job(job_id: str) -> None:
    jobs.run(uuid.UUID(job_id))


@shared_task(name="results.tasks.refresh_pool")
def refresh_pool(pool_id: int) -> None:
    pooling.refresh_pool(pool_id)


@shared_task(name="results.tasks.complete_pool")
def complete_pool(pool_id: int) -> None:
    completing.complete_pool(pool_id)


@shared_task(
    name="results.tasks.make_release",
    soft_time_limit=exporting.LEASE_S - 120,
    time_limit=exporting.LEASE_S - 60,
)
def make_release(release_id: int) -> None:
    exporting.make(release_id)


@shared_task(name="results.tasks.sweep")
def sweep() -> None:
    jobs.sweep()
    outdated.sweep_outdated()
    exporting.sweep_releases()
