"""Entering a round by its code, and leaving it."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext

from results.models import Round, RoundParticipant
from results.models.leaving import leave
from results.rounds.allocating import allocate
from results.rounds.codes import as_code
from results.rounds.set_up import lock_round
from rigs.locks import lock_contributor, lock_uploader
from rigs.models import Contributor
from rigs.quotas import ration
from rigs.refusals import Conflict, Finding, Invalid

MOST_PARTICIPANTS = 60
TRIES_AN_HOUR, AN_HOUR_S = 30, 3600


def enter(by: Contributor, entry_code: str) -> RoundParticipant:
    """Take part in the round of this code; who takes part already stays as they are.

    Who enters an open round is late, and gets codes at once. Who had withdrawn is in again. One
    transaction. Locks the contributor, then the round. Raises Invalid where no round has the code,
    Conflict once it is closed or full, TooMany after many tries, AccountClosed, AccountSuspended.
    """
    ration("round-entry", str(by.pk), TRIES_AN_HOUR, AN_HOUR_S)
    code = as_code(entry_code, "entry_code")
    with transaction.atomic():
        contributor = lock_uploader(by)
        meant = Round.objects.filter(entry_code=code).first()
        if meant is None:
            raise Invalid(
                gettext("No round has this code."),
                [Finding("", "entry_code", code, gettext("the code that the organiser gave you"))],
            )
        now = lock_round(meant)
        if now.state == Round.State.CLOSED:
            raise Conflict(gettext("This round is closed: no one enters it any more."))
        entered = now.participants.filter(contributor=contributor).first()
        if entered is None:
            entered = _entered(now, contributor)
        elif entered.withdrawn_at is not None:
            entered.withdrawn_at = None
            entered.save(update_fields=["withdrawn_at"])
        if now.state == Round.State.OPEN:
            allocate(entered)
    return entered


def withdraw(by: Contributor, from_round: Round) -> None:
    """Take part no more; what one sent is not stored at the close.

    One transaction. Locks the contributor, then the round. Raises Conflict where one does not take
    part or the round is closed, and AccountClosed.
    """
    with transaction.atomic():
        contributor = lock_contributor(by)
        now = lock_round(from_round)
        if now.state == Round.State.CLOSED:
            raise Conflict(gettext("The round is closed: its report stays as it is."))
        entered = now.participants.filter(contributor=contributor, withdrawn_at=None)
        if not entered:
            raise Conflict(gettext("You don't take part in this round."))
        leave(entered)


def _entered(now: Round, contributor: Contributor) -> RoundParticipant:
    if now.participants.count() >= MOST_PARTICIPANTS:
        raise Conflict(
            gettext("The round is full: it takes %(most)d testers.") % {"most": MOST_PARTICIPANTS}
        )
    return RoundParticipant.objects.create(
        round=now, contributor=contributor, late=now.state == Round.State.OPEN
    )
