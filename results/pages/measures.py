"""Metric or imperial, by a reader's own choice, kept in a cookie of theirs."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import resolve_url
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

COOKIE, A_YEAR_S = "measures", 365 * 24 * 60 * 60
CHOICES = ("metric", "imperial")


def measures(request: HttpRequest) -> dict[str, str]:
    """For the templates: what loads and lengths are shown in."""
    chosen = request.COOKIES.get(COOKIE)
    return {"measures": chosen if chosen in CHOICES else "metric"}


@require_safe
def choose(request: HttpRequest) -> HttpResponse:
    """Keep the choice and go back to where it was made."""
    chosen, back = request.GET.get("measures"), request.GET.get("back", "")
    own = url_has_allowed_host_and_scheme(back, None) and back.startswith("/")
    response = HttpResponseRedirect(back if own else resolve_url("pages:pools"))
    if chosen in CHOICES:
        response.set_cookie(COOKIE, chosen, max_age=A_YEAR_S, samesite="Lax", httponly=True)
    return response
