"""Letters of a moderator to a contributor, to be read, edited and sent.

A letter names the set by number and never the tester: what is sent is kept, and kept sentences
name no one. It says what was seen, what follows, and what the tester can do, in that order.
"""

from __future__ import annotations

from results.models import PullSet
from results.review.selectors import holds_of

OPENINGS = {
    "release": "Thank you for this set, and for waiting while it was looked at.",
    "reject": "I looked closely at this set and have decided to leave it out of its pool.",
    "hold": "I want to look further into this set before it counts.",
    "ask": "I am looking at this set and would like to hear from you before deciding.",
}
CLOSINGS = {
    "release": "I looked at its pulls and its straight line and found them in order: it counts in "
    "its pool from now on. There is nothing for you to do.",
    "reject": "I found no other explanation, so the set stays out of its pool. It is kept as you "
    "sent it, and this says nothing about your other sets. If I have it wrong, appeal and another "
    "moderator will look: the button stands under the set on your bench. If a figure was "
    "mistyped, correct the session on its page.",
    "hold": "Until this is clear it counts in no pool, and only you and the moderators "
    "read why. An answer under the set on your bench helps most; if you find a mistake, correct "
    "the session on its page.",
    "ask": "Can you say how the readings were taken: which spool, which unit, what the scale "
    "showed? Answer under the set on your bench. Until then it waits and counts in no pool. A "
    "check is a question and no accusation.",
}
EXPLAINED = ("ask", "hold")
"""Letters that say what commonly explains such a finding, and what would settle it."""


def draft(pull_set: PullSet, decision: str) -> str:
    """A first wording of ``decision`` (release, reject, hold or ask), with the evidence in it."""
    about = f"About set {pull_set.pk}, pulled on {pull_set.session.pulled_on:%Y-%m-%d}."
    holds = list(holds_of(pull_set))
    parts = [f"{about} {OPENINGS[decision]}"]
    if holds:
        parts.append("What was seen: " + " ".join(each.sentence for each in holds))
    known = [each.hold for each in holds if each.hold is not None]
    if known and decision in EXPLAINED:
        reasons = " ".join(dict.fromkeys(str(each.reasons) for each in known))
        settled = " ".join(dict.fromkeys(str(each.settled_by) for each in known))
        parts.append(f"Honest reasons for this: {reasons}\n\nWhat settles it: {settled}")
    return "\n\n".join([*parts, CLOSINGS[decision]])
