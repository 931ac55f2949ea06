"""Deciding on what testers propose: into the catalogue, mapped to what is there, or declined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib.auth.models import User
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext
from rules.permissions import add_perm

from results.catalogue.connections import add_parameter, propose_connection
from results.intake.proposing import resume
from results.models import Connection, Proposal, TieParameter, WaitingSession
from rigs.locks import lock_contributor
from rigs.models import Contributor, Line
from rigs.permissions import contributor_of, is_moderator, may
from rigs.refusals import Conflict, Finding, Forbidden, Invalid
from rigs.registering import propose_line

add_perm("results.decide_proposal", is_moderator)

Entry = Connection | Line | TieParameter
State = Proposal.State
Kind = Proposal.Kind


@dataclass(frozen=True)
class Decision:
    """What becomes of a proposal: ``entry`` is new and unsaved, or the one that was meant."""

    state: Proposal.State
    answer: str
    entry: Entry | None = None


def open_proposals() -> QuerySet[Proposal]:
    """Proposals that wait for a moderator, oldest first."""
    return Proposal.objects.filter(state=State.OPEN).order_by("created_at", "pk")


def proposed_as(proposal: Proposal) -> QuerySet[Proposal]:
    """A proposal, and those of the same by others, on which is decided with it; oldest first."""
    alike = _alike(proposal) if proposal.state == State.OPEN else Proposal.objects.none()
    found = Proposal.objects.filter(Q(pk=proposal.pk) | Q(pk__in=alike.values("pk")))
    return found.select_related("contributor").order_by("pk")


def resolve(by: User, proposal: Proposal, decision: Decision) -> list[WaitingSession]:
    """Decide on a proposal, and on the same name where others proposed it; sessions go on.

    Returns the sessions that wait for nothing more and were stored, or stopped with the reason.
    In the caller's transaction. Locks the contributors concerned by ascending id, then the
    proposals. Raises Forbidden unless ``by`` is a moderator with a handle, Invalid where accepting
    or mapping lacks its entry or declining its reason, and Conflict where it is decided already or
    the name is taken.
    """
    if not may(by, "results.decide_proposal"):
        raise Forbidden(gettext("Only a moderator decides on what is proposed."))
    _check(proposal, decision)
    _lock_people(by, proposal)
    alike = list(_alike(proposal).select_for_update(of=("self",), no_key=True).order_by("pk"))
    if proposal.pk not in {each.pk for each in alike}:
        raise Conflict(gettext("This proposal is decided on already."))
    entry = decision.entry
    if decision.state == State.ACCEPTED and entry is not None:
        _add(by, entry)
    for each in alike:
        _decide(by, each, decision)
    return _go_on(alike)


def _check(proposal: Proposal, decision: Decision) -> None:
    wanted = {Kind.JOIN: Connection, Kind.LINE: Line, Kind.PARAMETER: TieParameter}
    if decision.state == State.DECLINED:
        if not decision.answer.strip():
            expected = gettext("a sentence that the tester can read")
            finding = Finding("", "answer", gettext("nothing"), expected)
            raise Invalid(gettext("Say why it is declined."), [finding])
    elif not isinstance(decision.entry, wanted[Kind(proposal.kind)]):
        expected = gettext("the %(kind)s of the catalogue that is meant") % {"kind": proposal.kind}
        finding = Finding("", "entry", gettext("nothing"), expected)
        raise Invalid(gettext("Say what it is in the catalogue."), [finding])


def _alike(proposal: Proposal) -> QuerySet[Proposal]:
    return Proposal.objects.filter(
        kind=proposal.kind,
        name__iexact=proposal.name,
        connection=proposal.connection_id,
        state=State.OPEN,
    )


def _lock_people(by: User, proposal: Proposal) -> None:
    """Lock the moderator, who adds to the catalogue, and all who proposed it, in one order."""
    people = {contributor_of(by).pk, *_alike(proposal).values_list("contributor_id", flat=True)}
    for person in Contributor.objects.filter(pk__in=people).order_by("pk"):
        lock_contributor(person)


def _add(by: User, entry: Entry) -> None:
    if isinstance(entry, Connection):
        propose_connection(by, entry)
    elif isinstance(entry, Line):
        propose_line(by, entry)
    else:
        add_parameter(entry)


def _decide(by: User, proposal: Proposal, decision: Decision) -> None:
    entry = decision.entry if decision.state != State.DECLINED else None
    proposal.state, proposal.answer = decision.state, decision.answer.strip()
    proposal.decided_by, proposal.decided_at = by, timezone.now()
    proposal.became_connection = entry if isinstance(entry, Connection) else None
    proposal.became_line = entry if isinstance(entry, Line) else None
    proposal.became_parameter = entry if isinstance(entry, TieParameter) else None
    proposal.save()


def _go_on(decided: Sequence[Proposal]) -> list[WaitingSession]:
    """Resume the sessions of which nothing is open any more."""
    waiting = (
        WaitingSession.objects.filter(proposals__in=decided, state=WaitingSession.State.WAITING)
        .exclude(proposals__state=State.OPEN)
        .select_related("contributor__user")
        .order_by("contributor_id", "created_at", "pk")
        .distinct()
    )
    sessions = list(waiting)
    for each in sessions:
        resume(each)
    return sessions
