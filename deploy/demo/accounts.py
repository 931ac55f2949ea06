"""Accounts of the demo: the scenario's testers, a moderator and an administrator."""

from __future__ import annotations

from collections.abc import Mapping

from allauth.account.models import EmailAddress
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import User
from django.db import transaction

from results.accounts.moderators import make_moderator
from rigs.models import Club, Contributor

PASSWORD = "winter-bench-league"
MODERATOR = "benchwarden"
ADMINISTRATOR = "keeper"


@transaction.atomic
def make_accounts(club_of: Mapping[str, str]) -> None:
    """Make what is missing of the accounts of these testers, given by handle with their club.

    They all have the one PASSWORD, which everybody can read here: for one's own machine only. Each
    has a confirmed address, to which no mail ever goes.
    """
    wanted = {*club_of, MODERATOR, ADMINISTRATOR}
    if User.objects.filter(username__in=wanted).count() < len(wanted):
        _make_missing(club_of)
    for user in User.objects.filter(username__in=wanted, email=""):
        _give_address(user)
    make_moderator(User.objects.get(username=MODERATOR))


def _make_missing(club_of: Mapping[str, str]) -> None:
    hashed = make_password(PASSWORD)
    for handle, club in club_of.items():
        _contributor(handle, hashed, Club.objects.get_or_create(name=club)[0])
    _contributor(MODERATOR, hashed, None)
    rights = {"password": hashed, "is_staff": True, "is_superuser": True}
    User.objects.get_or_create(username=ADMINISTRATOR, defaults=rights)


def _contributor(handle: str, hashed: str, club: Club | None) -> Contributor:
    user, _ = User.objects.get_or_create(username=handle, defaults={"password": hashed})
    profile = {"handle": handle, "club": club}
    return Contributor.objects.get_or_create(user=user, defaults=profile)[0]


def _give_address(user: User) -> None:
    """An address of the domain that is kept for examples (RFC 2606)."""
    user.email = f"{user.username}@example.org"
    user.save(update_fields=["email"])
    EmailAddress.objects.create(user=user, email=user.email, primary=True, verified=True)
