"""Closing an account: its data withdrawn, or kept without the name and the words."""

from __future__ import annotations

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session as SignedIn
from django.db import transaction
from django.utils import timezone
from knox.models import AuthToken

from results.accounts import rename
from results.accounts.erase import erase_account
from results.accounts.following import end_following
from results.accounts.join import FORMER
from results.accounts.personal_columns import CLOSED
from results.intake import amend
from results.models import (
    Proposal,
    PullSet,
    Round,
    Session,
    UnsentMail,
    Vote,
    WaitingSession,
    WaitingUpload,
)
from results.models.leaving import leave
from results.models.lifecycle import lock_sets
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import AccountClosed


def close_account(
    contributor: Contributor, *, keep: bool, by: User | None = None, reason: str = CLOSED
) -> None:
    """End an account for good. With ``keep`` its sessions go on counting, under 'former
    contributor' and a number; without, every one of them is withdrawn.

    They leave rounds that are not closed. Handle, mail address, club and every way to sign in are
    erased, and with them what `results.accounts.personal_columns` declares: names, notes, labels,
    places and the bytes of uploads. What moderators wrote of the sets stays. ``by`` is an
    administrator, or the contributor where it is None.

    One transaction. Locks the contributor and, by ascending id, all of their sessions and
    pull sets at once, in the order of `rigs.locks`. Raises AccountClosed where it is closed
    already, Forbidden for anyone but an administrator, and Invalid without a reason.
    """
    with transaction.atomic():
        locked = lock_contributor(contributor)
        current = _lock_sessions(locked)
        if not keep:
            for session in current:
                amend.withdraw(session, locked, CLOSED)
        rename.rewrite(locked, f"{FORMER} {locked.pk}")
        _erase(locked, by or locked.user, reason)
        Contributor.objects.filter(pk=locked.pk).update(
            club=None, shows_club=False, closed_at=timezone.now()
        )
    _end_sign_ins(locked.user)


def erase_closed(contributor: Contributor, *, by: User, reason: str) -> None:
    """Erase what an account that is closed still holds, as those closed by an earlier release do.

    Transaction, locks and refusals as `close_account`.
    """
    with transaction.atomic():
        try:
            lock_contributor(contributor)
        except AccountClosed:
            _lock_sessions(contributor)
            _erase(contributor, by, reason)
    _end_sign_ins(contributor.user)


def _erase(contributor: Contributor, by: User, reason: str) -> None:
    WaitingUpload.objects.filter(contributor=contributor).delete()
    WaitingSession.objects.filter(contributor=contributor).delete()
    Proposal.objects.filter(contributor=contributor, state=Proposal.State.OPEN).update(
        state=Proposal.State.DECLINED
    )
    leave(contributor.rounds.exclude(round__state=Round.State.CLOSED))
    end_following(contributor)
    UnsentMail.objects.filter(contributor=contributor).delete()
    Vote.objects.filter(contributor=contributor).delete()
    erase_account(contributor, by=by, reason=reason)
    _erase_account(contributor.user)
    _erase_log(contributor)


def _lock_sessions(contributor: Contributor) -> list[Session]:
    """Lock all sessions and sets, since erasing writes to each; returns the current sessions."""
    every = list(
        Session.objects.select_for_update(of=("self",), no_key=True)
        .select_related("contributor")
        .filter(contributor=contributor)
        .order_by("pk")
    )
    lock_sets(PullSet.objects.filter(session__contributor=contributor).values_list("pk", flat=True))
    return [session for session in every if session.standing == Session.Standing.CURRENT]


def _erase_account(user: User) -> None:
    """Leave an account row that can't sign in: rows it created still point to it."""
    user.username = f"former-{user.pk}"
    user.email = user.first_name = user.last_name = ""
    user.is_active = user.is_staff = user.is_superuser = False
    user.set_unusable_password()
    user.save()
    user.groups.clear()
    user.user_permissions.clear()
    for table in (AuthToken, EmailAddress, Authenticator):
        table.objects.filter(user=user).delete()


def _erase_log(contributor: Contributor) -> None:
    """Blank the names by which the admin's own log knows the account."""
    for row in (contributor, contributor.user):
        LogEntry.objects.filter(
            content_type=ContentType.objects.get_for_model(row), object_id=str(row.pk)
        ).update(object_repr=f"{FORMER} {contributor.pk}")


def _end_sign_ins(user: User) -> None:
    """Delete the sessions of browsers, which hold how and by which name one signed in."""
    signed_in = SignedIn.objects.filter(expire_date__gt=timezone.now())
    for session in signed_in.iterator():
        if session.get_decoded().get("_auth_user_id") == str(user.pk):
            session.delete()
