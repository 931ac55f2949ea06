"""No way to the desk by password alone: moderators and administrators set up a second factor."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from rigs.second_factor import lacks_second_factor


def ask_for_second_factor(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Lead whoever lacks a second factor from the admin to where it is set up."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.path.startswith(reverse("admin:index")) and lacks_second_factor(request.user):
            return redirect("mfa_activate_totp")
        return answer(request)

    return middleware
