"""Coming into a club by the invitation of one of its members, and leaving it.

An invitation is signed and not stored: it names the club and who invites, and holds for two weeks,
as long as they are a member themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.core import signing
from django.db import transaction
from django.utils.translation import gettext

from rigs.locks import lock_contributor, lock_uploader
from rigs.models import Club, Contributor
from rigs.refusals import Conflict, Forbidden

HOLDS_FOR = timedelta(days=14)
SALT = "samespool.club"


@dataclass(frozen=True)
class Invitation:
    """Which club somebody is invited into, and by which of its members."""

    club: Club
    by: Contributor


def invite(by: Contributor) -> str:
    """An invitation into one's own club, as it stands in its link. Raises Forbidden without one."""
    if by.club_id is None:
        raise Forbidden(gettext("Only a member of a club invites into it."))
    return signing.dumps([by.club_id, by.pk], salt=SALT)


def invitation_of(key: str) -> Invitation | None:
    """The invitation that a link names; None where it is no more good, or never was."""
    try:
        club, by = signing.loads(key, salt=SALT, max_age=HOLDS_FOR)
    except signing.BadSignature:
        return None
    members = Contributor.objects.select_related("club")
    found = members.filter(pk=by, club=club, closed_at=None).first()
    if found is None or found.club is None or found.suspension is not None:
        return None
    return Invitation(found.club, found)


def join_club(by: Contributor, key: str) -> Club:
    """Become a member by an invitation; of another club one is a member no more.

    One transaction. Locks the contributor. Raises Conflict where the invitation is no more good,
    AccountClosed and AccountSuspended.
    """
    with transaction.atomic():
        contributor = lock_uploader(by)
        found = invitation_of(key)
        if found is None:
            raise Conflict(
                gettext("This invitation is too old or was cut short: ask for another one.")
            )
        contributor.club = found.club
        contributor.save(update_fields=["club"])
    return found.club


def leave_club(by: Contributor) -> None:
    """Be a member no more; rounds that one has part in go on. Locks the contributor."""
    with transaction.atomic():
        contributor = lock_contributor(by)
        contributor.club = None
        contributor.save(update_fields=["club"])
