"""Drafts of a moderator's messages to a contributor, to be read, edited and sent."""

from __future__ import annotations

from results.models import PullSet
from results.review.selectors import holds_of

CLOSINGS = {
    "release": "I looked at the pulls and found them in order: the set counts from now on. "
    "Thank you for pulling it.",
    "reject": "I found no other explanation, so the set stays out of its pool. It is kept as you "
    "sent it. If I have it wrong, appeal and another moderator will look; if a figure was "
    "mistyped, send a corrected version of the session.",
    "hold": "It waits until this is clear, and does not count in its pool meanwhile.",
    "ask": "Can you say how that happened: which spool, which unit, what the scale showed?",
}


def draft(pull_set: PullSet, decision: str) -> str:
    """A first wording of ``decision`` (release, reject, hold or ask), with the evidence in it."""
    evidence = " ".join(hold.sentence for hold in holds_of(pull_set))
    return f"{evidence} {CLOSINGS[decision]}".strip()
