"""Join: a chosen handle, agreement to the licence, and what is shown publicly."""

from __future__ import annotations

import re

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext

from rigs.licence import SHARED_DATA
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Invalid

SHORTEST_HANDLE, LONGEST_HANDLE = 2, 40
FORMER = "former contributor"
"""Handle prefix of closed accounts, followed by a number; reserved."""

_HANDLE = re.compile(r"[^\W_](?:[\w .'-]*[^\W_])?")


def join(user: User, handle: str, *, agreed: bool) -> Contributor:
    """Make an account a contributor's, who agrees to the licence of the shared data.

    Raises Invalid without that agreement or for a handle that can't be one, and Conflict where
    another contributor has it.
    """
    if not agreed:
        raise Invalid(
            gettext("What is pulled here is shared, so the licence has to be agreed to."),
            [
                Finding(
                    "",
                    "agreed",
                    "no",
                    gettext("agreement to %(identifier)s") % {"identifier": SHARED_DATA.identifier},
                )
            ],
        )
    with transaction.atomic():
        contributor = take_handle(user, handle)
        agree(contributor)
    contributor.refresh_from_db()
    return contributor


def take_handle(user: User, handle: str) -> Contributor:
    """Make an account a contributor's, who has yet to agree to the licence.

    Raises Invalid for a handle that can't be one, and Conflict where another contributor has it.
    """
    name = checked_handle(handle)
    try:
        with transaction.atomic():
            return Contributor.objects.create(user=user, handle=name)
    except IntegrityError:
        raise handle_taken(name) from None


def agree(contributor: Contributor) -> None:
    """Keep that a contributor from before the licence agrees to it; once is enough.

    Locks the contributor. Raises AccountClosed.
    """
    with transaction.atomic():
        lock_contributor(contributor)
        Contributor.objects.filter(pk=contributor.pk, licence_agreed_at__isnull=True).update(
            licence=SHARED_DATA.identifier, licence_agreed_at=timezone.now()
        )


def show(contributor: Contributor, *, club: bool, rigs: bool, sets: bool) -> None:
    """Store what a contributor agrees to list on their own page.

    Locks the contributor. Raises AccountClosed.
    """
    with transaction.atomic():
        lock_contributor(contributor)
        Contributor.objects.filter(pk=contributor.pk).update(
            shows_club=club, shows_rigs=rigs, shows_sets=sets
        )


def checked_handle(handle: str) -> str:
    """A handle with its spaces in order. Raises Invalid."""
    name = " ".join(handle.split())
    fits = SHORTEST_HANDLE <= len(name) <= LONGEST_HANDLE and _HANDLE.fullmatch(name)
    if not fits:
        expected = gettext(
            "%(shortest_handle)s to %(longest_handle)s letters and digits, with "
            "spaces, full stops, hyphens, apostrophes or underscores between them"
        ) % {"shortest_handle": SHORTEST_HANDLE, "longest_handle": LONGEST_HANDLE}
    elif name.casefold().startswith(FORMER):
        expected = gettext(
            "a name that does not begin with '%(former)s', which closed accounts have"
        ) % {"former": FORMER}
    else:
        return name
    raise Invalid(
        gettext("This can't be a handle."),
        [Finding("", "handle", repr(handle[:LONGEST_HANDLE]), expected)],
    )


def handle_taken(handle: str) -> Conflict:
    """The refusal of a handle that another contributor has."""
    expected = gettext("a handle that no one else has, in small or capital letters")
    return Conflict(
        gettext("Another contributor has this handle."), [Finding("", "handle", handle, expected)]
    )
