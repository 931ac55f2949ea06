"""Reviewing: a moderator decides, with a reason, and every decision is kept."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction

from results import stale
from results.models import NormalisedSet, PullSet, StateChange
from results.states import State, move
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

MODERATORS = "moderators"
"""The group whose members may decide."""

DECISIONS = {"hold": State.HELD, "release": State.RELEASED, "reject": State.REJECTED}


def is_moderator(user: User) -> bool:
    """Whether the user may decide on other people's submissions."""
    return bool(user.is_active and user.groups.filter(name=MODERATORS).exists())


def decide(*, by: User, pull_set: PullSet, decision: str, reason: str) -> StateChange:
    """Hold, release or reject a pull set, and mark its pool as stale, in one transaction.

    Raises Forbidden for whoever is no moderator, or for a moderator's own submission; Invalid for
    an unknown decision or an empty reason; Conflict where the set's state does not allow it.
    Locks: the row of the set, by a conditional update.
    """
    if not is_moderator(by):
        raise Forbidden("Only a moderator can decide on a submission.")
    if pull_set.session.contributor.user_id == by.pk:
        raise Forbidden("This is your own submission: another moderator has to decide on it.")
    findings = _findings(decision, reason)
    if findings:
        raise Invalid("The decision is not complete.", findings)
    to = DECISIONS[decision]
    if pull_set.state == to:
        raise Conflict(f"This set is {to} already.")
    with transaction.atomic():
        move([pull_set], to, by=by, reason=reason.strip())
        pools = NormalisedSet.objects.filter(pull_set=pull_set).values_list("pool_id", flat=True)
        stale.mark(pools, f"set {pull_set.pk} was decided on: {decision}, {reason.strip()}")
    return pull_set.state_changes.latest("pk")


def _findings(decision: str, reason: str) -> list[Finding]:
    findings = []
    if decision not in DECISIONS:
        known = ", ".join(DECISIONS)
        findings.append(Finding("", "decision", repr(decision), f"one of {known}"))
    if not reason.strip():
        findings.append(Finding("", "reason", "nothing", "a sentence the contributor can read"))
    return findings
