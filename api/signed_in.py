"""Requests of whoever is signed in on the pages: by the session's cookie, with a CSRF token."""

from __future__ import annotations

from typing import Any

from drf_spectacular.authentication import SessionScheme
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from rigs.second_factor import lacks_second_factor


class SignedIn(SessionAuthentication):
    """The session's cookie; the token comes in the header, so that the body is left unread.

    REST framework would look for the token in the body and parse it: a sheet is not JSON, and an
    upload has to be kept byte for byte.
    """

    def authenticate(self, request: Request) -> tuple[Any, None] | None:
        found = super().authenticate(request)
        if found and lacks_second_factor(found[0]):
            raise AuthenticationFailed(
                "This account signs in by two factors: set up the second one on its page."
            )
        return found

    def enforce_csrf(self, request: Request) -> None:
        super().enforce_csrf(request._request)  # type: ignore[arg-type]


class SignedInScheme(SessionScheme):
    """How the OpenAPI document names it."""

    target_class = "api.signed_in.SignedIn"
