"""Celery's way in to the verbs. A message carries an id; the row it names is the truth."""

from __future__ import annotations

import uuid

from celery import shared_task

from results import jobs, pooling


@shared_task(name="results.tasks.run_job")
def run_job(job_id: str) -> None:
    jobs.run(uuid.UUID(job_id))


@shared_task(name="results.tasks.refresh_pool")
def refresh_pool(pool_id: int) -> None:
    pooling.refresh_pool(pool_id)


@shared_task(name="results.tasks.sweep")
def sweep() -> None:
    jobs.sweep()
