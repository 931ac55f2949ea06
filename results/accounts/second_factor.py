"""The second factor: who needs one, who has one, and which tokens were issued by it."""

from __future__ import annotations

from allauth.account.authentication import get_authentication_records
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth.models import AnonymousUser, User
from django.http import HttpRequest
from knox.models import AuthToken

from rigs.permissions import is_moderator


def has_second_factor(user: User) -> bool:
    """Whether the account signs in by a code of an authenticator as well."""
    codes = Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP)
    return bool(codes.exists())


def needs_second_factor(user: User | AnonymousUser) -> bool:
    """Whether the account decides on other people's data."""
    return (
        bool(settings.SAMESPOOL_TWO_FACTOR)
        and isinstance(user, User)
        and (user.is_staff or is_moderator(user))
    )


def lacks_second_factor(user: User | AnonymousUser) -> bool:
    """Whether the account decides on other people's data and signs in by password alone."""
    return isinstance(user, User) and needs_second_factor(user) and not has_second_factor(user)


def opened_by_password_alone(request: HttpRequest) -> bool:
    """Whether this session is of an account that needs two factors, and only one was given in it.

    So is one from before the second factor was set up.
    """
    given = get_authentication_records(request, request.user)
    return needs_second_factor(request.user) and not any(
        record["method"] == "mfa" for record in given
    )


def made_by_password_alone(token: AuthToken) -> bool:
    """Whether this token of an account that needs two factors is older than its second one."""
    return (
        needs_second_factor(token.user)
        and not Authenticator.objects.filter(
            user=token.user, type=Authenticator.Type.TOTP, created_at__lte=token.created
        ).exists()
    )
