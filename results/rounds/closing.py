"""Closing a round for good: its results become sessions, and its report is asked for."""

from __future__ import annotations

import json
import random

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext, override

from results.intake.reading import JSON, coded
from results.intake.receiving import receive
from results.models import (
    Round,
    RoundEvent,
    RoundParticipant,
    RoundReport,
    RoundSet,
    SealedSession,
)
from results.rounds.filling import fill, tied_by
from results.rounds.set_up import lock_round, require
from rigs.models import Contributor
from rigs.permissions import is_moderator
from rigs.refusals import Conflict, Forbidden, Refused

STORED_IN = "en"
FINDINGS_KEPT = 20


def close(by: Contributor, of: Round) -> Round:
    """Close an open round. Its sealed sessions are stored as uploads are.

    What can't be stored is kept with the reason. Participants get their numbers, drawn by lot; the
    job that computes the report sends them a notice. One transaction. Locks everybody who takes
    part by ascending id, then the round, then what each upload locks. Raises Forbidden for anyone
    but the organiser and moderators who take no part, and Conflict where it is not open or somebody
    entered meanwhile.
    """
    takes_part = of.participants.filter(contributor=by, withdrawn_at=None).exists()
    if by.pk != of.organiser_id and (takes_part or not is_moderator(by.user)):
        raise Forbidden(
            gettext("Only its organiser, or a moderator who takes no part, closes a round.")
        )
    with transaction.atomic():
        testers = set(of.participants.values_list("contributor_id", flat=True))
        locked = Contributor.objects.select_for_update(of=("self",), no_key=True)
        list(locked.filter(pk__in=testers | {by.pk}).order_by("pk"))
        now = lock_round(of)
        require(now, Round.State.OPEN)
        if set(now.participants.values_list("contributor_id", flat=True)) != testers:
            raise Conflict(gettext("Somebody has just entered: look again before you close it."))
        sealed = SealedSession.objects.filter(
            participant__round=now, state=SealedSession.State.SEALED
        ).select_related("participant__contributor__user")
        for one in sealed.order_by("pk"):
            _store(one)
        now.state, now.closed_at = Round.State.CLOSED, timezone.now()
        now.save(update_fields=["state", "closed_at"])
        _number(now)
        RoundReport.objects.create(round=now, number=1)
        RoundEvent.objects.create(round=now, what=RoundEvent.What.CLOSED)
    return now


def _store(one: SealedSession) -> None:
    """Store a sealed session as an upload, or keep why it can't be stored."""
    contributor = one.participant.contributor
    try:
        with transaction.atomic(), override(STORED_IN):
            filled = fill(contributor, coded(bytes(one.body), one.content_type), one)
            body = json.dumps(filled.value).encode()
            receipt = receive(contributor, body, JSON, f"round-{one.pk}-{one.sha256[:16]}")
            sets = receipt.session.pull_sets.order_by("pk")
            RoundSet.objects.bulk_create(
                RoundSet(pull_set=pull_set, specimen=specimen, tied_by_id=tied_by(specimen))
                for pull_set, specimen in zip(sets, filled.specimens, strict=True)
            )
    except Refused as refusal:
        one.state = SealedSession.State.STOPPED
        one.problem = "\n".join([refusal.detail, *map(str, refusal.findings[:FINDINGS_KEPT])])
    else:
        one.state, one.session = SealedSession.State.STORED, receipt.session
    one.save(update_fields=["state", "problem", "session"])


def _number(now: Round) -> None:
    """Give participants numbers that say nothing of who came first."""
    entered = list(now.participants.filter(withdrawn_at=None))
    random.SystemRandom().shuffle(entered)
    for number, participant in enumerate(entered, start=1):
        RoundParticipant.objects.filter(pk=participant.pk).update(number=number)
