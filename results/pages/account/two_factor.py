"""No way to the desk by password alone: moderators and administrators give a second factor."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode

from results.accounts.second_factor import lacks_second_factor, opened_by_password_alone


def ask_for_second_factor(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Lead who comes by password alone from what needs two factors to where the second is given."""

    def middleware(request: HttpRequest) -> HttpResponse:
        path = request.path
        desk, make_token = _guarded()
        guarded = path.startswith(desk) or path == make_token
        if not guarded or not opened_by_password_alone(request):
            return answer(request)
        if lacks_second_factor(request.user):
            return redirect("mfa_activate_totp")
        after = path if request.method == "GET" else reverse("pages:account")
        return redirect(f"{reverse('mfa_reauthenticate')}?{urlencode({'next': after})}")

    return middleware


@cache
def _guarded() -> tuple[str, str]:
    """Addresses that each request is held against, so looked up once."""
    return reverse("admin:index"), reverse("pages:make-token")
