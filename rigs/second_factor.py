"""The second factor: who needs one to sign in, and who has one."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth.models import AnonymousUser, User

from rigs.permissions import is_moderator


def has_second_factor(user: User) -> bool:
    """Whether the account signs in by a code of an authenticator as well."""
    return Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP).exists()


def lacks_second_factor(user: User | AnonymousUser) -> bool:
    """Whether the account decides on other people's data and signs in by password alone."""
    return (
        settings.SAMESPOOL_TWO_FACTOR
        and isinstance(user, User)
        and (user.is_staff or is_moderator(user))
        and not has_second_factor(user)
    )
