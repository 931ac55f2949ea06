"""Closing an account: its data withdrawn, or kept without the name."""

from __future__ import annotations

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from knox.models import AuthToken

from results import amending, renaming
from results.models import PullSet, Session
from results.states import lock_sets
from rigs.joining import FORMER
from rigs.locks import lock_contributor
from rigs.models import Contributor, RigRevision

REASON = "The account was closed."


def close_account(contributor: Contributor, *, keep: bool) -> None:
    """End an account for good. With ``keep`` its sessions go on counting, under 'former
    contributor' and a number; without, every one of them is withdrawn.

    Handle, name, mail address, club, the places of the rigs and every way to sign in are erased.
    What moderators and others wrote of the sets stays, as do the withdrawn sessions, which
    moderators alone can read. One transaction. Locks the contributor and, by ascending id, all of
    their current sessions and pull sets at once, in the order of `rigs.locks`. Raises
    AccountClosed where it is closed already.
    """
    with transaction.atomic():
        locked = lock_contributor(contributor)
        current = _lock_current_sessions(locked)
        if not keep:
            for session in current:
                amending.withdraw(session, locked, REASON)
        renaming.rewrite(locked, f"{FORMER} {locked.pk}")
        _erase_profile(locked)
        _erase_account(locked.user)


def _lock_current_sessions(contributor: Contributor) -> list[Session]:
    current = list(
        Session.objects.select_for_update(of=("self",), no_key=True)
        .select_related("contributor")
        .filter(contributor=contributor, standing=Session.Standing.CURRENT)
        .order_by("pk")
    )
    lock_sets(PullSet.objects.filter(session__in=current).values_list("pk", flat=True))
    return current


def _erase_profile(contributor: Contributor) -> None:
    Contributor.objects.filter(pk=contributor.pk).update(
        club=None, shows_club=False, closed_at=timezone.now()
    )
    RigRevision.objects.filter(rig__owner=contributor).update(
        place="", latitude_deg=None, height_m=None
    )


def _erase_account(user: User) -> None:
    """Leave a row that nobody can sign in by, since what the account did still points to it."""
    user.username = f"former-{user.pk}"
    user.email = user.first_name = user.last_name = ""
    user.is_active = user.is_staff = user.is_superuser = False
    user.set_unusable_password()
    user.save()
    user.groups.clear()
    user.user_permissions.clear()
    for table in (AuthToken, EmailAddress, Authenticator):
        table.objects.filter(user=user).delete()
