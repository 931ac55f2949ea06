"""Borrow a baseline of another session where a session has none of its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

from django.db.models import Count, Q

from results.models import Baseline, Pull, Session
from results.normalising.reference_line import Specimen
from results.normalising.usable_straight import usable
from rigs.metrology.validity import BaselineFacts, BaselineValidity, baseline_validity
from rigs.models import Line


@dataclass(frozen=True)
class Lent:
    """A borrowed baseline of one specimen from one other session, and a note about it."""

    baselines: tuple[Baseline, ...]
    pulls: tuple[Pull, ...]
    note: str


@dataclass(frozen=True)
class Offer:
    """A baseline of one specimen in another session, and whether it may be borrowed."""

    session: Session
    specimen: Specimen
    baselines: tuple[Baseline, ...]
    validity: BaselineValidity


Candidates: TypeAlias = dict[tuple[Session, Specimen], list[Baseline]]


def borrow(session: Session, wanted: Iterable[Specimen]) -> dict[Specimen, Lent]:
    """For each specimen the valid baseline nearest in time, by the specimen that was pulled.

    None that is held or was rejected. Of the same revision, spool and state, within 30 days, three
    pulls parted in the free length. Compute loads on the borrowing session's scale, so
    that its gain still cancels.
    """
    wanted = list(wanted)
    if not wanted:
        return {}
    found = _candidates(session, wanted)
    chosen: dict[Specimen, Offer] = {}
    for one in wanted:
        valid = [offer for offer in _offers(session, one, found) if offer.validity.valid]
        if valid:
            nearest = min(valid, key=lambda offer: _distance(offer, session))
            chosen[nearest.specimen] = nearest
    pulls = _pulls_of(chosen.values())
    return {
        specimen: Lent(
            offer.baselines,
            tuple(pull for each in offer.baselines for pull in pulls[each.pk]),
            _note(offer),
        )
        for specimen, offer in chosen.items()
    }


def why_not(session: Session, wanted: Specimen) -> str:
    """Why the closest baseline can't be borrowed; empty if there is none at all."""
    offers = _offers(session, wanted, _candidates(session, [wanted]))
    if not offers:
        return ""
    nearest = min(offers, key=lambda o: (len(o.validity.reasons_against), _distance(o, session)))
    reasons = " and ".join(nearest.validity.reasons_against)
    return f"the one of {nearest.session.pulled_on:%Y-%m-%d} can't be borrowed: {reasons}"


def _offers(session: Session, wanted: Specimen, found: Candidates) -> list[Offer]:
    return [
        Offer(
            lender,
            specimen,
            tuple(baselines),
            baseline_validity(_facts(session, wanted, lender, specimen, baselines)),
        )
        for (lender, specimen), baselines in found.items()
        if specimen.line.pk == wanted.line.pk
    ]


def _candidates(session: Session, wanted: list[Specimen]) -> Candidates:
    """Baselines of the lines wanted on all revisions of the rig, by session and specimen."""
    lines: set[Line] = {specimen.line for specimen in wanted}
    found: Candidates = defaultdict(list)
    for baseline in (
        usable(Baseline.objects.all())
        .filter(
            session__revision__rig=session.revision.rig_id,
            session__loading=session.loading,
            line__in=lines,
        )
        .exclude(session=session.pk)
        .select_related("session", "line")
        .annotate(parted=Count("pulls", filter=Q(pulls__failure_mode=Pull.FailureMode.LINE)))
        .order_by("pk")
    ):
        found[baseline.session, Specimen(baseline.line, baseline.spool)].append(baseline)
    return found


def _facts(
    session: Session, wanted: Specimen, lender: Session, lent: Specimen, baselines: list[Baseline]
) -> BaselineFacts:
    return BaselineFacts(
        parted_in_free_length=sum(vars(baseline)["parted"] for baseline in baselines),
        same_revision=lender.revision_id == session.revision_id,
        same_spool=lent.is_same_as(wanted),
        same_state=lender.state == session.state,
        pulled_on=lender.pulled_on,
        needed_on=session.pulled_on,
    )


def _distance(offer: Offer, session: Session) -> tuple[int, int]:
    return abs((offer.session.pulled_on - session.pulled_on).days), offer.session.pk


def _pulls_of(offers: Iterable[Offer]) -> dict[int, list[Pull]]:
    pulls: dict[int, list[Pull]] = defaultdict(list)
    baselines = [baseline for offer in offers for baseline in offer.baselines]
    for pull in Pull.objects.filter(baseline__in=baselines).order_by("pk"):
        assert pull.baseline_id is not None
        pulls[pull.baseline_id].append(pull)
    return pulls


def _note(offer: Offer) -> str:
    spool = "" if offer.specimen.spool else ", a spool that was not told"
    return (
        f"The straight line of {offer.specimen} was borrowed from session {offer.session.pk} of "
        f"{offer.session.pulled_on:%Y-%m-%d}{spool}: same rig, same revision."
    )
