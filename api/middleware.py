"""Refuse NUL bytes, non-ASCII tokens and chunked bodies before any view."""

from __future__ import annotations

from collections.abc import Callable

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext

from api.exceptions import CONTENT_TYPE, problem_of
from rigs.refusals import Unreadable


def refuse_unreadable(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse a NUL in the address, an Authorization header that is not plain ASCII, and a body
    without a length, which would be read as empty: by a problem under /api/, else by a page.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        address = request.path + request.META.get("QUERY_STRING", "")
        if "\x00" in address or "%00" in address:
            error = Unreadable(gettext("The address holds a NUL character."))
        elif not _is_plain(request.headers.get("Authorization", "")):
            error = Unreadable(
                gettext("The Authorization header holds characters other than plain ASCII.")
            )
        elif _has_no_length(request):
            error = Unreadable(
                gettext(
                    "The body came in chunks and without its length, so it was not read: "
                    "send it with Content-Length."
                )
            )
        else:
            return answer(request)
        if not request.path.startswith("/api/"):
            raise BadRequest(error.detail)
        problem = problem_of(error)
        return JsonResponse(
            problem.document(request.path.replace("\x00", "%00")),
            status=problem.status,
            content_type=CONTENT_TYPE,
        )

    return middleware


def _has_no_length(request: HttpRequest) -> bool:
    chunked = "chunked" in request.headers.get("Transfer-Encoding", "").lower()
    return chunked and not request.headers.get("Content-Length")


def _is_plain(header: str) -> bool:
    return header.isascii() and header.isprintable()
