"""Who asks: by a token, or signed in on the pages by the session's cookie with a CSRF token."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext
from drf_spectacular.authentication import SessionScheme
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication
from knox.models import AuthToken
from rest_framework.authentication import SessionAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from results.accounts.second_factor import (
    lacks_second_factor,
    made_by_password_alone,
    opened_by_password_alone,
)

BEARER = "Bearer"


class ByToken(TokenAuthentication):
    """Token authentication, as ``Token ...`` or ``Bearer ...`` (RFC 6750).

    Tokens from before their owner became a moderator are refused.
    """

    def authenticate_header(self, request: Request) -> str:
        """The scheme that the request names, or the one that it should."""
        sent = get_authorization_header(request).split()[:1]
        usual: str = super().authenticate_header(request)
        return BEARER if sent and sent[0].lower() == BEARER.lower().encode() else usual

    def _cleanup_token(self, auth_token: AuthToken) -> bool:
        """Whether the token has expired, which deletes it.

        Other tokens of the account are left to their own next use: looking for them here would
        cost each request a query.
        """
        if auth_token.expiry is None or auth_token.expiry >= timezone.now():
            return False
        auth_token.delete()
        return True

    def validate_user(self, auth_token: AuthToken) -> tuple[Any, AuthToken]:
        found: tuple[Any, AuthToken] = super().validate_user(auth_token)
        if made_by_password_alone(auth_token):
            raise AuthenticationFailed(
                gettext(
                    "This account signs in by two factors, and the token is older than the "
                    "second one: make a new one on the page of the account."
                )
            )
        return found


class ByTokenScheme(OpenApiAuthenticationExtension):
    """How the OpenAPI document names it: one token, by either of two schemes."""

    target_class = "api.authentication.ByToken"
    name = ["knoxApiToken", "bearer"]

    def get_security_definition(self, _auto_schema: Any) -> list[dict[str, Any]]:
        return [
            {
                "type": "apiKey",
                "in": "header",
                "name": "Authorization",
                "description": "A token with the word 'Token' before it, as 'Token 5d1f0e...'.",
            },
            {"type": "http", "scheme": "bearer", "description": "The same token (RFC 6750)."},
        ]

    def get_security_requirement(self, _auto_schema: Any) -> list[dict[str, list[Any]]]:
        return [{name: []} for name in self.name]


class SignedIn(SessionAuthentication):
    """The session's cookie; the token comes in the header, so that the body is left unread.

    REST framework would look for the token in the body and parse it: a sheet is not JSON, and an
    upload has to be kept byte for byte.
    """

    def authenticate(self, request: Request) -> tuple[Any, None] | None:
        found = super().authenticate(request)
        if found and lacks_second_factor(found[0]):
            raise AuthenticationFailed(
                gettext("This account signs in by two factors: set up the second one on its page.")
            )
        if found and opened_by_password_alone(request._request):
            raise AuthenticationFailed(
                gettext(
                    "This account signs in by two factors, and only one was given: sign in again."
                )
            )
        return found

    def enforce_csrf(self, request: Request) -> None:
        super().enforce_csrf(request._request)  # type: ignore[arg-type]  # DRF hands it to Django


class SignedInScheme(SessionScheme):
    """How the OpenAPI document names it."""

    target_class = "api.authentication.SignedIn"
