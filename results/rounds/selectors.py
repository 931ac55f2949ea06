"""Looking up rounds, and what each reader may know of one before its close."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import Enum

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from results.models import (
    Round,
    RoundLot,
    RoundParticipant,
    RoundReport,
    RoundSample,
    RoundSet,
    RoundSpecimen,
    SealedSession,
    Session,
)
from rigs.models import Contributor

TAKES_PART = Q(participants__withdrawn_at=None)


class Became(Enum):
    """What became of the results under a code; its value is what pages say."""

    AWAITED = "not sent yet"
    SENT = "sent"
    MISSED = "nothing came"
    STOPPED = "could not be stored"
    WITHDRAWN = "sent, then withdrawn"


@dataclass(frozen=True)
class OwnCode:
    """One of a participant's codes. ``sample`` is None where what it is of is hidden from them."""

    code: str
    ties: int
    sample: RoundSample | None
    sent: bool
    became: Became


@dataclass(frozen=True)
class Sender:
    """How many of their codes a participant has sent results of; all that an organiser sees.

    ``withdrawn`` and ``stopped`` are those of them whose results don't count after the close.
    """

    participant: RoundParticipant
    sent: int
    codes: int
    late: bool
    entered_late: bool
    not_blind: bool
    withdrawn: int
    stopped: int


def rounds() -> QuerySet[Round]:
    """Every round, newest first, with the number of testers in it."""
    return Round.objects.select_related("club").annotate(
        participant_count=Count("participants", filter=TAKES_PART)
    )


def rounds_of(contributor: Contributor) -> QuerySet[Round]:
    """Rounds that somebody organises, packs, ties for or takes part in."""
    mine = Q(organiser=contributor) | Q(packer=contributor) | Q(tyer=contributor)
    entered = RoundParticipant.objects.filter(contributor=contributor, withdrawn_at=None)
    return rounds().filter(mine | Q(pk__in=entered.values("round")))


def participant_of(of: Round, contributor: Contributor | None) -> RoundParticipant | None:
    """Somebody's part in a round; None for who has none, or has withdrawn."""
    if contributor is None:
        return None
    return of.participants.filter(contributor=contributor, withdrawn_at=None).first()


def is_insider(of: Round, contributor: Contributor | None) -> bool:
    """Whether somebody organises a round, packs it, ties for everybody or takes part."""
    return contributor is not None and (
        contributor.pk in (of.organiser_id, of.packer_id, of.tyer_id)
        or participant_of(of, contributor) is not None
    )


def lots_of(of: Round) -> QuerySet[RoundLot]:
    """The spools that every participant has straight line of, which insiders know."""
    return of.lots.select_related("line")


def own_codes(participant: RoundParticipant) -> list[OwnCode]:
    """A participant's codes, in the order of the alphabet, which says nothing of the samples.

    What samples are that each tester ties is known to them; the others are hidden until the close.
    """
    closed = participant.round.state == Round.State.CLOSED
    specimens = participant.specimens.select_related(
        "sample__connection", "sample__main_lot__line", "sample__leader_lot__line"
    )
    return [
        OwnCode(
            one.code,
            one.sample.ties,
            one.sample if closed or not one.sample.is_hidden else None,
            one.sent_in_id is not None,
            _became(one, closed=closed),
        )
        for one in specimens.select_related("sent_in").annotate(counts=COUNTS).order_by("code")
    ]


COUNTS = Exists(
    RoundSet.objects.filter(
        specimen=OuterRef("pk"), pull_set__session__standing=Session.Standing.CURRENT
    )
)
"""Whether results under a code count after the close: as they came, or corrected since."""


def _became(specimen: RoundSpecimen, *, closed: bool) -> Became:
    """Of a specimen that says whether it ``counts``."""
    if specimen.sent_in is None:
        return Became.MISSED if closed else Became.AWAITED
    if specimen.sent_in.state == SealedSession.State.STOPPED:
        return Became.STOPPED
    return Became.SENT if getattr(specimen, "counts", False) or not closed else Became.WITHDRAWN


@dataclass(frozen=True)
class CodeToPull:
    """A code of one's own in an open round, with the spools that are pulled straight beside it."""

    of: Round
    own: OwnCode
    lots: tuple[RoundLot, ...]


def codes_to_pull(contributor: Contributor) -> list[CodeToPull]:
    """One's codes of open rounds of which no results have come."""
    parts = RoundParticipant.objects.filter(
        contributor=contributor, withdrawn_at=None, round__state=Round.State.OPEN
    ).select_related("round")
    return [
        CodeToPull(part.round, own, lots)
        for part in parts
        for lots in [tuple(lots_of(part.round))]
        for own in own_codes(part)
        if not own.sent
    ]


def parts_to_send(contributor: Contributor) -> QuerySet[RoundParticipant]:
    """One's parts in open rounds with codes of which no results have come, ``unsent`` of them."""
    open_ones = RoundParticipant.objects.filter(
        contributor=contributor, withdrawn_at=None, round__state=Round.State.OPEN
    )
    unsent = Count("specimens", filter=Q(specimens__sent_in=None))
    return (
        open_ones.select_related("round")
        .annotate(unsent=unsent)
        .filter(unsent__gt=0)
        .order_by("round__results_by", "round_id")
    )


def samples_of(of: Round, contributor: Contributor | None) -> QuerySet[RoundSample]:
    """The samples that somebody may know: all for the organiser and the packer or once it is
    closed, those that each tester ties for participants, and none for others."""
    samples = of.samples.select_related("connection", "main_lot__line", "leader_lot__line")
    if of.state == Round.State.CLOSED:
        return samples
    if contributor is not None and contributor.pk in (of.organiser_id, of.packer_id):
        return samples
    if participant_of(of, contributor) is not None:
        return samples.filter(tied=RoundSample.TiedBy.TESTER)
    return samples.none()


@dataclass(frozen=True)
class ToTie:
    """What one hand ties of a sample for everybody: ``joins`` in all, for each code ``ties``."""

    sample: RoundSample
    joins: int


def to_tie(of: Round, contributor: Contributor | None) -> list[ToTie]:
    """What somebody ties for everybody who has entered; nothing for others, or once it is closed.

    Which code a join gets is for the packer to know: who ties stays blind for their own.
    """
    if contributor is None or contributor.pk != of.central_tyer_id:
        return []
    if of.state == Round.State.CLOSED:
        return []
    entered = of.participants.filter(withdrawn_at=None).count()
    samples = of.samples.select_related("connection", "main_lot__line", "leader_lot__line")
    return [
        ToTie(one, entered * one.codes * one.ties)
        for one in samples.filter(tied=RoundSample.TiedBy.CENTRALLY)
    ]


@dataclass(frozen=True)
class TiesForRound:
    """A round that somebody ties for everybody of, and how many joins that comes to so far."""

    of: Round
    joins: int


def rounds_to_tie_for(contributor: Contributor) -> list[TiesForRound]:
    """Rounds not closed yet that somebody ties samples for, the first to begin before the rest."""
    theirs = Q(tyer=contributor) | Q(tyer=None, organiser=contributor)
    found = rounds().filter(theirs).exclude(state=Round.State.CLOSED).order_by("starts_on", "pk")
    ties = [TiesForRound(of, sum(one.joins for one in to_tie(of, contributor))) for of in found]
    return [each for each in ties if each.joins]


def senders(of: Round) -> list[Sender]:
    """Who takes part, and how much of theirs has come."""
    entered = (
        of.participants.filter(withdrawn_at=None)
        .select_related("contributor")
        .annotate(
            codes=Count("specimens", distinct=True),
            sent=Count("specimens", filter=Q(specimens__sent_in__isnull=False), distinct=True),
        )
    )
    came_late = came_late_to(of).exclude(state=SealedSession.State.WITHDRAWN)
    late = set(came_late.values_list("participant_id", flat=True))
    seen = set(of.sights.values_list("contributor_id", flat=True))
    closed = of.state == Round.State.CLOSED
    specimens = RoundSpecimen.objects.filter(participant__round=of).select_related("sent_in")
    left_out = Counter(
        (each.participant_id, _became(each, closed=closed))
        for each in specimens.annotate(counts=COUNTS)
    )
    return [
        Sender(
            one,
            one.sent,
            one.codes,
            one.pk in late,
            one.late,
            one.contributor_id in seen,
            left_out[one.pk, Became.WITHDRAWN],
            left_out[one.pk, Became.STOPPED],
        )
        for one in entered.order_by("pk")
    ]


def who_left(of: Round) -> list[RoundParticipant]:
    """Who entered and has withdrawn, with the codes that had been drawn for them."""
    left = of.participants.exclude(withdrawn_at=None).select_related("contributor")
    return list(left.prefetch_related("specimens").order_by("pk"))


def sealed_of(participant: RoundParticipant) -> QuerySet[SealedSession]:
    """What a participant has sent, newest first."""
    return (
        participant.sealed.order_by("-pk").select_related("session").prefetch_related("specimens")
    )


def came_late_to(of: Round) -> QuerySet[SealedSession]:
    """What came after the last day for results, as that is now."""
    return SealedSession.objects.filter(participant__round=of, received_at__date__gt=of.results_by)


def still_sealed(contributor: Contributor) -> QuerySet[SealedSession]:
    """What somebody has sent to rounds that are open, newest first."""
    sealed = SealedSession.objects.filter(
        participant__contributor=contributor, state=SealedSession.State.SEALED
    )
    return sealed.select_related("participant__round").order_by("-pk")


def specimen_of(code: str) -> RoundSpecimen | None:
    """The specimen of a code, with its round."""
    return (
        RoundSpecimen.objects.filter(code=code)
        .select_related("participant__round", "participant__contributor", "sample")
        .first()
    )


def made_reports(of: Round) -> QuerySet[RoundReport]:
    """The versions that are made, newest first; all of them stay."""
    return of.reports.filter(state=RoundReport.State.MADE).order_by("-number")


def latest_report(of: Round) -> RoundReport | None:
    """The newest version that is made."""
    return made_reports(of).first()
