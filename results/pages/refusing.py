"""Refusals that no form shows: a page that says what was wrong, in place of a failure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse

from results.pages.showing import render
from rigs.refusals import Conflict, Forbidden, Refused, TooMany
from rigs.uniqueness import TAKEN, is_unique_violation


def show_refusals(answer: Callable[[HttpRequest], HttpResponse]) -> Any:
    """Answer a refusal that a page let through by 403, 409, 422 or 429; a unique constraint too."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return answer(request)

    middleware.process_exception = _page  # type: ignore[attr-defined]
    return middleware


def _page(request: HttpRequest, error: Exception) -> HttpResponse | None:
    if isinstance(error, IntegrityError) and is_unique_violation(error):
        error = Conflict(TAKEN)
    if not isinstance(error, Refused):
        return None
    status = {Forbidden: 403, Conflict: 409, TooMany: 429}
    code = next((code for kind, code in status.items() if isinstance(error, kind)), 422)
    return render(request, "pages/refusal.html", {"refusal": error}, status=code)
