"""Throttling of pages, as of the API: per account, or per address without one."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from results.pages.showing import render
from rigs.allowances import spend

UNCOUNTED = ("/api/", "/healthz", "/readyz", "/metrics", f"/{settings.STATIC_URL.strip('/')}/")
"""The API counts its own, once it knows whose token it is; the others ask for nothing much."""


def count_requests(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse what goes beyond the allowance by 429, before any view has worked for it."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.path.startswith(UNCOUNTED):
            return answer(request)
        allowance = spend(request, _account(request))
        if not allowance.is_spent:
            return answer(request)
        page = render(request, "429.html", status=429)
        page["Retry-After"] = str(allowance.seconds)
        return page

    return middleware


def _account(request: HttpRequest) -> int | None:
    """The user. Without a session cookie always anonymous, so that the page doesn't vary by it."""
    if settings.SESSION_COOKIE_NAME not in request.COOKIES:
        return None
    return request.user.pk if request.user.is_authenticated else None
