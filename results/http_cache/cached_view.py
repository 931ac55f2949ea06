"""A per-process cache of anonymous responses, by the edition of their content."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.core.cache import caches
from django.http import HttpRequest, HttpResponse
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.translation import get_language

from results.http_cache.code_version import tagged
from results.http_cache.shared import PRIVATE, SHARED

A_DAY_S = 24 * 60 * 60
CSV = "text/csv"
OF_ONE_READER = (settings.SESSION_COOKIE_NAME, CookieStorage.cookie_name)
"""Cookies that may make a response personal."""
View = Callable[..., Any]


def cache_by_edition(
    edition: Callable[..., str | None], cookies: tuple[str, ...] = ()
) -> Callable[[View], View]:
    """Cache a view's responses while ``edition``, called with the URL's arguments, stays the same.

    The edition is read from the database with every request and, with the values of the
    ``cookies`` that the answer depends on, the language and the release, is its ETag: a change
    is seen at once, and no tag outlives the code that made it. It is read before the view
    runs: a response is never older than its tag. Requests with a token, a session or a pending
    message go to the view, where they are throttled.
    """

    def keep(view: View) -> View:
        @wraps(view)
        def answer(request: HttpRequest, *args: Any, **parts: Any) -> Any:
            found = edition(**parts) if request.method in ("GET", "HEAD") else None
            if found is None:
                return view(request, *args, **parts)
            own = any(name in request.COOKIES for name in OF_ONE_READER)
            if own and cookies:
                return _private(view(request, *args, **parts))
            tag = _tag(found, _chosen(request, cookies))
            if own or "Authorization" in request.headers:
                early = get_conditional_response(request, etag=tag)
                return _private(_tagged(early or view(request, *args, **parts), tag))
            key = _key(request, tag)
            kept = caches["kept"].get(key)
            if kept is None:
                response = _tagged(view(request, *args, **parts), tag)
                patch_vary_headers(response, ["Accept", "Authorization", "Cookie"])
                if response.status_code == 200:
                    response.headers.setdefault("Cache-Control", SHARED)
                if response.status_code != 200 or request.method != "GET":
                    return get_conditional_response(request, etag=tag, response=response)
                kept = (response.content, dict(response.headers))
                caches["kept"].set(key, kept, A_DAY_S)
            response = HttpResponse(kept[0], headers=kept[1])
            return get_conditional_response(request, etag=tag, response=response) or response

        return answer

    return keep


def _chosen(request: HttpRequest, cookies: tuple[str, ...]) -> list[str]:
    """What the reader chose: the values of these cookies, and a language or a form other than our
    usual one.
    """
    language = get_language()
    own = [] if language == settings.LANGUAGE_CODE else [str(language)]
    form = [CSV] if CSV in request.headers.get("Accept", "") else []
    return [request.COOKIES.get(name, "") for name in cookies] + own + form


def _tag(edition: str, chosen: list[str]) -> str:
    """Chosen values come from outside, so only their hash enters the tag."""
    if any(chosen):
        edition += "-" + hashlib.sha256(repr(chosen).encode()).hexdigest()[:16]
    return tagged(edition)


def _tagged(response: Any, tag: str) -> Any:
    if hasattr(response, "render"):
        response.render()
    if 200 <= response.status_code < 300:
        response.headers.setdefault("ETag", tag)
    return response


def _private(response: Any) -> Any:
    response.headers.setdefault("Cache-Control", PRIVATE)
    patch_vary_headers(response, ["Accept", "Authorization", "Cookie"])
    return response


def _key(request: HttpRequest, tag: str) -> str:
    """By all that the answer depends on: the tag, the whole address, and what is accepted."""
    place = f"{request.scheme}://{request.get_host()}{request.get_full_path()}"
    material = f"{tag} {place} {request.headers.get('Accept', '')}"
    return "answer:" + hashlib.sha256(material.encode()).hexdigest()
