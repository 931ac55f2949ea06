"""A client of the queue's Redis, beside Celery's own."""

from __future__ import annotations

import redis
from django.conf import settings


def redis_client(timeout_s: float) -> redis.Redis:
    """A client that gives up after ``timeout_s`` seconds; close it after use.

    Its calls raise ``redis.RedisError`` if the server is unreachable or hangs.
    """
    return redis.from_url(
        settings.REDIS_URL,
        socket_timeout=timeout_s,
        socket_connect_timeout=timeout_s,
        decode_responses=True,
    )
