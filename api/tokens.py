"""Tokens: name and password once, by HTTP Basic authentication; from then on a token."""

from __future__ import annotations

from typing import Any, cast

from allauth.account.adapter import get_adapter
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from drf_spectacular.utils import extend_schema
from knox.models import AuthToken
from rest_framework import serializers, status
from rest_framework.authentication import BasicAuthentication
from rest_framework.exceptions import AuthenticationFailed, Throttled
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.authentication import ByToken
from api.serializers import Shown
from results.accounts.second_factor import has_second_factor, lacks_second_factor

WAIT_S = 300
"""For so long attempts to sign in to one account are counted."""


class NameAndPassword(BasicAuthentication):
    """HTTP Basic authentication (RFC 7617), which allows no control characters."""

    www_authenticate_realm = "samespool"

    def authenticate_credentials(
        self, userid: str, password: str, request: Any = None
    ) -> tuple[Any, None]:
        if "\x00" in userid + password:
            raise AuthenticationFailed(gettext("Name or password holds a control character."))
        user = _signing_in(request, userid, password)
        if has_second_factor(user) or lacks_second_factor(user):
            raise AuthenticationFailed(
                gettext(
                    "A password alone gives no token to this account, which signs in by two "
                    "factors: make one on the page of the account."
                )
            )
        return user, None


def _signing_in(request: Request, name: str, password: str) -> User:
    """The account of this name and password, of which few wrong ones are tried in a while.

    Attempts count together with those on the page to sign in. Raises Throttled,
    AuthenticationFailed.
    """
    try:
        user = get_adapter().authenticate(request._request, username=name, password=password)
    except ValidationError as too_many:
        raise Throttled(WAIT_S, " ".join(too_many.messages)) from too_many
    if user is None:
        raise AuthenticationFailed(gettext("Name or password is wrong."))
    return cast(User, user)


class TokenDocument(Shown):
    """A token is shown once and kept only as a hash."""

    token = serializers.CharField()
    expiry = serializers.DateTimeField(allow_null=True)


class Tokens(APIView):
    """Get a token."""

    authentication_classes = [NameAndPassword]
    permission_classes = [IsAuthenticated]

    @extend_schema(
        operation_id="tokens_create",
        tags=["tokens"],
        request=None,
        responses={201: TokenDocument},
    )
    def post(self, request: Request) -> Response:
        """Trade name and password (HTTP Basic) for a token.

        It is sent as 'Authorization: Token …' or 'Authorization: Bearer …'.
        """
        stored, token = AuthToken.objects.create(user=request.user)
        user_logged_in.send(sender=type(request.user), request=request, user=request.user)
        document = TokenDocument({"token": token, "expiry": stored.expiry})
        return Response(
            document.data, status.HTTP_201_CREATED, headers={"Cache-Control": "no-store"}
        )


class CurrentToken(APIView):
    """The token that a request carries."""

    authentication_classes = [ByToken]
    permission_classes = [IsAuthenticated]

    @extend_schema(operation_id="tokens_delete", tags=["tokens"], responses={204: None})
    def delete(self, request: Request) -> Response:
        """End this token; it works no more."""
        request.auth.delete()
        user_logged_out.send(sender=type(request.user), request=request, user=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)
