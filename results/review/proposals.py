"""A moderator decides on a proposal for the catalogue, and the testers concerned get a notice."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction

from results import notices
from results.catalogue.proposals import Decision, resolve
from results.models import Proposal, WaitingSession


def decide_proposal(by: User, proposal: Proposal, decision: Decision) -> list[WaitingSession]:
    """Decide, let sessions go on that waited for it, and notify who sent them; one transaction.

    Arguments, refusals and locks as `results.catalogue.proposals.resolve`.
    """
    with transaction.atomic():
        sessions = resolve(by, proposal, decision)
        for session in sessions:
            notices.notify_waiting(session, _said(session, proposal, decision))
    return sessions


def _said(session: WaitingSession, proposal: Proposal, decision: Decision) -> str:
    became = {
        Proposal.State.ACCEPTED: "is in the catalogue now",
        Proposal.State.MAPPED: f"is in the catalogue as '{decision.entry}'",
        Proposal.State.DECLINED: "was not taken into the catalogue",
    }[decision.state]
    went = (
        "Your session that waited for it is stored and being processed."
        if session.state == WaitingSession.State.STORED
        else "Your session that waited for it can't be stored as it is; its page says why."
    )
    return f"The {proposal.kind} '{proposal.name}' {became}. {decision.answer} {went}".replace(
        "  ", " "
    )
