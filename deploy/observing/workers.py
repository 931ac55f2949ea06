"""When each worker and the sweeper were last seen: each writes a timestamp to a hash in Redis.

For people and scrapers only: whatever Redis loses is written again within seconds.
"""

from __future__ import annotations

import contextlib
import uuid
from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import Any

from celery import signals
from django.conf import settings
from redis import RedisError

from deploy.observing.queue import redis_client

SEEN = "samespool:seen"
SWEEPER = "sweeper"
PROCESSES = "samespool:processes"
THIS_PROCESS = uuid.uuid4().hex
REMEMBERED = timedelta(days=1)
PRESENT = timedelta(seconds=30)
"""A worker sends a sign every two seconds."""
TIMEOUT_S = 1


def seen() -> dict[str, datetime]:
    """When each worker, by name, and the sweeper were last seen within a day.

    Empty in embedded mode. Raises ``redis.RedisError`` if Redis does not answer.
    """
    if settings.EMBEDDED:
        return {}
    with redis_client(TIMEOUT_S) as server:
        stamps: dict[str, str] = server.hgetall(SEEN)
    at = {name: datetime.fromtimestamp(float(stamp), UTC) for name, stamp in stamps.items()}
    earliest = datetime.now(UTC) - REMEMBERED
    return {name: at[name] for name in sorted(at) if at[name] > earliest}


def of_one_name() -> dict[str, int]:
    """By name, how many workers are at work under it now: more than one is a mistake.

    Forgets those that are gone. Raises ``redis.RedisError`` if Redis does not answer.
    """
    if settings.EMBEDDED:
        return {}
    since = (datetime.now(UTC) - PRESENT).timestamp()
    with redis_client(TIMEOUT_S) as server:
        stamps: dict[str, str] = server.hgetall(PROCESSES)
        if gone := [process for process, stamp in stamps.items() if float(stamp) < since]:
            server.hdel(PROCESSES, *gone)
    return dict(Counter(process.rpartition(" ")[0] for process in {*stamps} - {*gone}))


@signals.heartbeat_sent.connect
def record_worker(sender: Any, **_sent: Any) -> None:
    """A worker sends a heartbeat every two seconds."""
    _record(sender.eventer.hostname)
    _record(f"{sender.eventer.hostname} {THIS_PROCESS}", PROCESSES)


@signals.task_success.connect
def record_sweeper(sender: Any, **_sent: Any) -> None:
    """The scheduler has a worker sweep every few seconds."""
    if sender.name == "results.tasks.sweep":
        _record(SWEEPER)


def _record(name: str, among: str = SEEN) -> None:
    with contextlib.suppress(RedisError), redis_client(TIMEOUT_S) as server:
        server.hset(among, name, str(datetime.now(UTC).timestamp()))
