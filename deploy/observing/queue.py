"""The Redis of the queue, asked beside the queue itself."""

from __future__ import annotations

import redis
from django.conf import settings


def impatient(patience_s: float) -> redis.Redis:
    """A client that gives up after ``patience_s`` seconds; close it after use.

    Asking it raises ``redis.RedisError`` where the server is gone or hangs.
    """
    return redis.from_url(
        settings.REDIS_URL,
        socket_timeout=patience_s,
        socket_connect_timeout=patience_s,
        decode_responses=True,
    )
