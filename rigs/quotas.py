"""What a person may ask for only so often, counted for all processes together."""

from __future__ import annotations

import time

import structlog
from django.core.cache import cache
from redis.exceptions import RedisError

from rigs.refusals import TooMany

log = structlog.get_logger(__name__)


def ration(what: str, who: str, most: int, window_s: int) -> None:
    """Count one asking of ``who`` in this window. Raises TooMany beyond ``most`` of them.

    One atomic step, so that askings at one instant can't pass together. Without the counting
    store nobody is refused.
    """
    now = time.time()
    key = f"ration:{what}:{who}:{int(now // window_s)}"
    try:
        cache.add(key, 0, timeout=2 * window_s)
        count = cache.incr(key)
    except (RedisError, ValueError):
        log.warning("askings are not counted: the store does not answer", what=what)
        return
    if count > most:
        raise TooMany(window_s - int(now % window_s))
