"""Which workers are at work, and whether the sweeper is: each tells by a line in Redis.

Read by people and scrapers alone: what is lost here with Redis is told anew within seconds.
"""

from __future__ import annotations

import contextlib
from datetime import UTC, datetime, timedelta
from typing import Any

from celery import signals
from django.conf import settings
from redis import RedisError

from deploy.observing.queue import impatient

SEEN = "samespool:seen"
SWEEPER = "sweeper"
REMEMBERED = timedelta(days=1)
PATIENCE_S = 1


def seen() -> dict[str, datetime]:
    """When each worker, by its name, and the sweeper last told of themselves, within a day.

    Empty where jobs are drained inside the web process. Raises ``redis.RedisError`` where Redis
    does not answer.
    """
    if settings.EMBEDDED:
        return {}
    with impatient(PATIENCE_S) as server:
        told: dict[str, str] = server.hgetall(SEEN)
    at = {name: datetime.fromtimestamp(float(stamp), UTC) for name, stamp in told.items()}
    earliest = datetime.now(UTC) - REMEMBERED
    return {name: at[name] for name in sorted(at) if at[name] > earliest}


@signals.heartbeat_sent.connect
def tell_of_worker(sender: Any, **_sent: Any) -> None:
    """A worker sends a heartbeat every two seconds."""
    _tell(sender.eventer.hostname)


@signals.task_success.connect
def tell_of_sweeper(sender: Any, **_sent: Any) -> None:
    """The scheduler has a worker sweep every few seconds."""
    if sender.name == "results.tasks.sweep":
        _tell(SWEEPER)


def _tell(name: str) -> None:
    with contextlib.suppress(RedisError), impatient(PATIENCE_S) as server:
        server.hset(SEEN, name, str(datetime.now(UTC).timestamp()))
