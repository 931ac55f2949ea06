"""Sealed sessions of rounds against their sums, what the close made of them, and its report."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.db.models import F, Q

from deploy.verifying.erased import Erased
from deploy.verifying.faults import Fault
from results.models import Round, RoundSet, SealedSession
from results.statistics.errors import StatisticsError
from results.worker.recomputed_rounds import not_following, to_be_proven

BATCH = 200
State = SealedSession.State


def wrong_rounds(erased: Erased) -> Iterator[Fault]:
    """Sealed sessions that are not what was sent, or did not become what their state says."""
    sealed = SealedSession.objects.select_related("participant__round", "session__upload")
    for one in sealed.order_by("pk").iterator(BATCH):
        where, body = f"sealed session {one.pk}", bytes(one.body)
        if not body:
            if not erased.has("results.SealedSession.body", one.pk):
                yield Fault(where, "its bytes are gone, and no erasure says so")
        elif hashlib.sha256(body).hexdigest() != one.sha256:
            yield Fault(where, "its bytes are not those of its sum")
        yield from _wrong_state(where, one)
    yield from _wrong_sets()


def wrong_reports() -> Iterator[Fault]:
    """Figures of a round's report that don't follow from the pulls of its sets."""
    for one in to_be_proven():
        where = f"round {one.round_id}, report {one.number}"
        try:
            for figure in not_following(one):
                yield Fault(where, f"{figure} does not follow from its pulls")
        except (StatisticsError, LookupError):
            yield Fault(where, "can no longer be computed from its pulls")


def _wrong_state(where: str, one: SealedSession) -> Iterator[Fault]:
    closed = one.participant.round.state == Round.State.CLOSED
    if (one.session is not None) != (one.state == State.STORED):
        yield Fault(where, f"is {one.state}, {'with' if one.session else 'without'} a session")
    if one.state == State.SEALED and closed:
        yield Fault(where, "waits, and its round is closed")
    if one.state in (State.STORED, State.STOPPED) and not closed:
        yield Fault(where, f"is {one.state}, and its round is not closed")
    if one.session is not None and one.session.contributor_id != one.participant.contributor_id:
        yield Fault(where, "became a session of somebody else")


def _wrong_sets() -> Iterator[Fault]:
    """Sets under a code that was not sent in with their session, or a sample of another round."""
    sets = RoundSet.objects.order_by("pk")
    came = Q(specimen__sent_in__session=F("pull_set__session"))
    in_place = Q(pull_set__session__replaces__pull_sets__in_round__specimen=F("specimen"))
    strange = sets.exclude(came | in_place)
    for pk in strange.values_list("pull_set_id", flat=True).iterator(BATCH):
        yield Fault(f"pull set {pk}", "is under a code that did not come with its session")
    elsewhere = sets.exclude(specimen__sample__round=F("specimen__participant__round"))
    for pk in elsewhere.values_list("pull_set_id", flat=True).iterator(BATCH):
        yield Fault(f"pull set {pk}", "is of a sample of another round")
