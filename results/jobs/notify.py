"""Waking whoever drains the jobs, by name, so that verbs never import tasks.

A wake is only a hint: a lost one is made good by the sweeper.
"""

from __future__ import annotations

import uuid
from threading import Event

from celery import current_app
from django.conf import settings

work_waits = Event()
"""Set in embedded mode when the draining thread of this process has something to do."""


def wake_job(job_id: uuid.UUID) -> None:
    """Have a job run soon."""
    _wake("results.tasks.run_job", str(job_id))


def wake_pool(pool_id: int) -> None:
    """Have a stale pool recomputed soon."""
    _wake("results.tasks.refresh_pool", pool_id)


def wake_to_complete(pool_id: int) -> None:
    """Have a pool drawn and compared, once no upload waits for its figures."""
    _wake("results.tasks.complete_pool", pool_id)


def wake_release(release_id: int) -> None:
    """Have a release of the open data made soon."""
    _wake("results.tasks.make_release", release_id)


def _wake(task: str, argument: str | int) -> None:
    if settings.EMBEDDED:
        work_waits.set()
    else:
        current_app.send_task(task, args=[argument])
