"""Headers that programs go by: who may keep an answer, and which pages elsewhere may read it."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from django.utils.http import http_date

from api.deprecation import DEPRECATED, address_of
from results.http_cache.shared import PRIVATE, SHARED

READING = ("GET", "HEAD", "OPTIONS")
PUBLIC = ("/api/", "/open-data/")
EXPOSED = "Content-Disposition, ETag, Link, Location, RateLimit, RateLimit-Policy, Retry-After"
ASKED = "Accept, Accept-Language, If-None-Match"
A_DAY_S = 24 * 60 * 60


def answer_headers(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Cache-Control, Vary, CORS and notices of deprecation on answers of API and open data.

    What anybody may read may be kept by a shared cache for a second or two, and has to be asked
    for again with its ETag; what a person is answered is kept by that person's program at most.
    Scripts of pages elsewhere may read what anybody may (WHATWG Fetch, 'CORS protocol'), nothing
    that a cookie or a token opens, and they may send nothing.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        if not request.path.startswith(PUBLIC):
            return answer(request)
        reading = request.method in READING
        if "Access-Control-Request-Method" in request.headers and request.method == "OPTIONS":
            return _preflight()
        response = answer(request)
        patch_vary_headers(response, ["Accept", "Authorization", "Cookie"])
        anybody = not _is_signed_in(request)
        if not response.has_header("Cache-Control"):
            response["Cache-Control"] = _kept_as(response, anybody) if reading else "no-store"
        if reading and anybody:
            response["Access-Control-Allow-Origin"] = "*"
            response["Access-Control-Expose-Headers"] = EXPOSED
        return _dated(request, response)

    return middleware


def _is_signed_in(request: HttpRequest) -> bool:
    return "Authorization" in request.headers or settings.SESSION_COOKIE_NAME in request.COOKIES


def _kept_as(response: HttpResponse, anybody: bool) -> str:
    """Who may keep the answer; of a problem, or of what is asked again soon, no cache."""
    if not anybody:
        return PRIVATE
    lasts = response.status_code == 200 and not response.has_header("Retry-After")
    return SHARED if lasts else "public, no-cache"


def _preflight() -> HttpResponse:
    """What a browser asks before a script of another origin reads."""
    response = HttpResponse(status=204)
    response["Access-Control-Allow-Origin"] = "*"
    response["Access-Control-Allow-Methods"] = "GET, HEAD"
    response["Access-Control-Allow-Headers"] = ASKED
    response["Access-Control-Max-Age"] = str(A_DAY_S)
    return response


def _dated(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Say of an operation that will go since when, until when, and where that is explained."""
    match = request.resolver_match
    notice = DEPRECATED.get(f"{request.method} {match.view_name}") if match else None
    if notice:
        response["Deprecation"] = f"@{int(notice.since.timestamp())}"
        response["Sunset"] = http_date(notice.until.timestamp())
        link = f'<{address_of(request)}>; rel="deprecation"; type="text/html"'
        response["Link"] = ", ".join(filter(None, [response.get("Link"), link]))
    return response
