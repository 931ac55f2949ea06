"""Refusals that no form shows: a page that says what was wrong, in place of a failure."""

from __future__ import annotations

from collections.abc import Callable

from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse

from results.pages.showing import render
from rigs.refusals import Conflict, Forbidden, Refused, TooMany
from rigs.uniqueness import TAKEN, is_unique_violation


class ShowRefusals:
    """Answer a refusal that a page let through by 403, 409, 422 or 429; a unique constraint too."""

    def __init__(self, answer: Callable[[HttpRequest], HttpResponse]) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.answer(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """The page of a refusal; what is none goes on as it was raised."""
        if isinstance(error, IntegrityError) and is_unique_violation(error):
            error = Conflict(str(TAKEN))
        if not isinstance(error, Refused):
            return None
        status = {Forbidden: 403, Conflict: 409, TooMany: 429}
        code = next((code for kind, code in status.items() if isinstance(error, kind)), 422)
        return render(request, "pages/refusal.html", {"refusal": error}, status=code)
