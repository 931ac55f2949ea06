"""Leaving a round: what one sent is not stored, and one's codes are free again."""

from __future__ import annotations

from django.db.models import QuerySet
from django.utils import timezone

from results.models.rounds import RoundParticipant, RoundSpecimen, SealedSession


def leave(parts: QuerySet[RoundParticipant]) -> None:
    """Withdraw testers from rounds that are not closed, in the transaction of who locked them."""
    ids = list(parts.filter(withdrawn_at=None).values_list("pk", flat=True))
    RoundSpecimen.objects.filter(participant__in=ids).update(sent_in=None)
    sealed = SealedSession.objects.filter(participant__in=ids, state=SealedSession.State.SEALED)
    sealed.update(state=SealedSession.State.WITHDRAWN)
    RoundParticipant.objects.filter(pk__in=ids).update(withdrawn_at=timezone.now())
