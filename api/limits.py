"""How many requests one token may send, told in the answer's RateLimit fields.

A count for each window of a minute, raised by one atomic step, so that requests at one instant
can't pass together as they do through a list that is read and written back. The fields are those
of the IETF draft 'RateLimit header fields for HTTP' (draft-ietf-httpapi-ratelimit-headers).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import structlog
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from redis.exceptions import RedisError
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

if TYPE_CHECKING:
    from rest_framework.views import APIView

WINDOW_S = 60

log = structlog.get_logger(__name__)


@dataclass(frozen=True)
class Allowance:
    """What is left of this window, and in how many seconds the next one begins."""

    left: int
    seconds: int


class PerToken(BaseThrottle):
    """So many requests a minute for each token, or for each person signed in on the pages."""

    def allow_request(self, request: Request, view: APIView) -> bool:  # noqa: ARG002
        who = _who(request)
        if who is None:
            return True
        now = time.time()
        self.seconds = WINDOW_S - int(now % WINDOW_S)
        count = _count(f"requests:{who}:{int(now // WINDOW_S)}")
        left = settings.SAMESPOOL_REQUESTS_A_MINUTE - count
        request._request.allowance = Allowance(max(left, 0), self.seconds)  # type: ignore[attr-defined]
        return left >= 0

    def wait(self) -> float:
        return float(self.seconds)


def tell_allowance(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Put what is left of a token's allowance into the answer."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        allowance: Allowance | None = getattr(request, "allowance", None)
        if allowance is not None:
            most = settings.SAMESPOOL_REQUESTS_A_MINUTE
            response["RateLimit-Policy"] = f'"token";q={most};w={WINDOW_S}'
            response["RateLimit"] = f'"token";r={allowance.left};t={allowance.seconds}'
        return response

    return middleware


def _who(request: Request) -> str | None:
    digest = getattr(request.auth, "digest", None)
    if digest is not None:
        return f"token:{digest}"
    return f"person:{request.user.pk}" if request.user.is_authenticated else None


def _count(key: str) -> int:
    """How many requests this is in its window; without the counting store nobody is refused."""
    try:
        cache.add(key, 0, timeout=2 * WINDOW_S)
        return cache.incr(key)
    except (RedisError, ValueError):
        log.warning("requests are not counted: the store does not answer")
        return 0
