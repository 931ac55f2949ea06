"""A real Celery worker for the stories that need one, on the run's own database and queue."""

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import redis
from django.conf import settings
from django.db import connection

from deploy.tools.processes import running, wait_until
from results.models import Job, StalePool

UNFINISHED = (Job.State.QUEUED, Job.State.RUNNING)


def all_is_done() -> bool:
    return not (Job.objects.filter(state__in=UNFINISHED).exists() or StalePool.objects.exists())


def wait_for_worker() -> None:
    """Until every job is finished and no pool is stale."""
    wait_until(all_is_done, "The worker's work")


@contextlib.contextmanager
def working(
    folder: Path, queues: str = "celery,later", **environment: str
) -> Iterator[subprocess.Popen]:
    """A worker with two processes and the sweeper, from when it is ready until the block ends."""
    celery = str(Path(sys.executable).with_name("celery"))
    command = [celery, "-A", "deploy", "worker", "--beat", "--concurrency", "2"]
    command += ["--loglevel", "INFO", "--schedule", str(folder / "schedule"), "--queues", queues]
    log = folder / "worker.log"
    with (
        log.open("wb") as out,
        running(
            command,
            env={**os.environ, "DATABASE_URL": database_url(), **environment},
            stdout=out,
            stderr=out,
        ) as worker,
    ):
        wait_until(lambda: b" ready." in log.read_bytes(), f"The worker ({log})", by=worker)
        yield worker


def kill(worker: subprocess.Popen) -> None:
    """End a worker and its children as a power cut would."""
    os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


def database_url() -> str:
    server = connection.settings_dict
    return f"postgresql://{server['USER']}@{server['HOST']}:{server['PORT']}/{server['NAME']}"


def empty_queue() -> None:
    """Lose every message, as a restarted Redis without a log does."""
    redis.from_url(settings.REDIS_URL).flushdb()
