"""Requests of whoever is signed in on the pages: by the session's cookie, with a CSRF token."""

from __future__ import annotations

from drf_spectacular.authentication import SessionScheme
from rest_framework.authentication import SessionAuthentication
from rest_framework.request import Request


class SignedIn(SessionAuthentication):
    """The session's cookie; the token comes in the header, so that the body is left unread.

    REST framework would look for the token in the body and parse it: a sheet is not JSON, and an
    upload has to be kept byte for byte.
    """

    def enforce_csrf(self, request: Request) -> None:
        super().enforce_csrf(request._request)  # type: ignore[arg-type]


class SignedInScheme(SessionScheme):
    """How the OpenAPI document names it."""

    target_class = "api.signed_in.SignedIn"
