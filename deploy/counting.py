"""The store of counts shared by all processes; it fails open.

Requests, attempts to sign in, and the codes of second factors that were used.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import structlog
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

log = structlog.get_logger(__name__)


def _or(absent: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Answer as an empty store does where Redis doesn't answer."""

    def bearing(ask: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(ask)
        def asked(*given: Any, **named: Any) -> Any:
            try:
                return ask(*given, **named)
            except RedisError:
                log.warning("nothing is counted: the store does not answer")
                return absent

        return asked

    return bearing


class Counts(RedisCache):
    """Redis for throttling; it fails open: without it no request is counted or refused."""

    add = _or(True)(RedisCache.add)
    _found = _or(None)(RedisCache.get)
    set = _or(None)(RedisCache.set)
    delete = _or(False)(RedisCache.delete)
    incr = _or(0)(RedisCache.incr)

    def get(self, key: Any, default: Any = None, version: int | None = None) -> Any:
        found = self._found(key, version=version)
        return default if found is None else found
