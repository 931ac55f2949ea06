"""Wake a worker by sending a task by name, so that verbs never import tasks.

A message is only a hint: the sweeper makes up for a lost one.
"""

from __future__ import annotations

import uuid
from threading import Event

from celery import current_app
from django.conf import settings

work_available = Event()
"""Set in embedded mode when this process's worker thread has something to do."""


def wake_job(job_id: uuid.UUID) -> None:
    """Send a message to run a job."""
    _wake("results.tasks.run_job", str(job_id))


def wake_pool(pool_id: int) -> None:
    """Send a message to recompute a stale pool."""
    _wake("results.tasks.refresh_pool", pool_id)


def wake_to_finish(pool_id: int) -> None:
    """Send a message to draw and compare a pool, once no upload waits for its figures."""
    _wake("results.tasks.complete_pool", pool_id)


def wake_release(release_id: int) -> None:
    """Send a message to make a release of the open data."""
    _wake("results.tasks.make_release", release_id)


def _wake(task: str, argument: str | int) -> None:
    if settings.EMBEDDED:
        work_available.set()
    else:
        current_app.send_task(task, args=[argument])
