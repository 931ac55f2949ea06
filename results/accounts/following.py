"""What one follows, and how often one is mailed what is new of it."""

from __future__ import annotations

import uuid

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext

from results.models import Follow, Mailing, PoolVersion, RoundEvent
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import Conflict

MOST = 200
"""Things that one account can follow."""


def follow(contributor: Contributor, subject: Follow.Subject, number: int) -> None:
    """Follow something, if it is not followed already.

    One transaction. Locks the contributor. Raises Conflict where they follow as much as one can,
    and AccountClosed.
    """
    with transaction.atomic():
        locked = lock_contributor(contributor)
        if locked.follows.count() >= MOST:
            raise Conflict(
                gettext("You follow %(most)d things already: stop following one first.")
                % {"most": MOST}
            )
        locked.follows.get_or_create(subject=subject, number=number)


def stop_following(contributor: Contributor, subject: Follow.Subject, number: int) -> None:
    """Follow something no more."""
    contributor.follows.filter(subject=subject, number=number).delete()


def choose_mail(contributor: Contributor, every: Mailing.Every) -> None:
    """Be mailed what is new from now on, so often.

    One transaction. Locks the contributor. Raises AccountClosed.
    """
    with transaction.atomic():
        locked = lock_contributor(contributor)
        mailing, _made = Mailing.objects.get_or_create(contributor=locked)
        if mailing.every == every:
            return
        if mailing.every == Mailing.Every.NEVER:
            mailing.through = _last(PoolVersion)
            mailing.rounds_through = _last(RoundEvent)
        mailing.every, mailing.refused, mailing.again_at = every, 0, None
        mailing.save()


def _last(of: type[PoolVersion] | type[RoundEvent]) -> int:
    return int(of.objects.aggregate(last=Max("pk"))["last"] or 0)


def end_mail(key: uuid.UUID) -> bool:
    """Mail nothing more to the one who got this key by mail; False where no account has it."""
    return bool(Mailing.objects.filter(key=key).update(every=Mailing.Every.NEVER, again_at=None))


def end_following(contributor: Contributor) -> None:
    """Forget what a contributor follows and what mail waits, as their account is closed."""
    contributor.follows.all().delete()
    Mailing.objects.filter(contributor=contributor).delete()
    contributor.unsent_mails.all().delete()
