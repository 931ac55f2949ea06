"""Throttle requests to the API; the response's RateLimit fields say what is left.

The fields are those of the IETF draft 'RateLimit header fields for HTTP'
(draft-ietf-httpapi-ratelimit-headers).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from rigs.allowances import WINDOW_S, Allowance, spend

if TYPE_CHECKING:
    from rest_framework.views import APIView


class PerAccount(BaseThrottle):
    """So many requests a minute for each account, and for each address without one."""

    def allow_request(self, request: Request, view: APIView) -> bool:  # noqa: ARG002
        account = request.user.pk if request.user.is_authenticated else None
        allowance = spend(request._request, account)
        self.seconds = allowance.seconds
        return not allowance.is_spent

    def wait(self) -> float:
        return float(self.seconds)


def rate_limit_headers(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Put what is left of an allowance into the answer."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        allowance: Allowance | None = getattr(request, "allowance", None)
        if allowance is not None:
            most = settings.SAMESPOOL_REQUESTS_A_MINUTE
            response["RateLimit-Policy"] = f'"{allowance.of}";q={most};w={WINDOW_S}'
            response["RateLimit"] = f'"{allowance.of}";r={allowance.left};t={allowance.seconds}'
        return response

    return middleware
