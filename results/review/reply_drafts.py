"""Letters of a moderator to a contributor, to be read, edited and sent.

A letter names the set by number and never the tester: what is sent is kept, and kept sentences
name no one. It says what was seen, what follows, and what the tester can do, in that order.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from django.utils.translation import gettext

from results.models import PullSet
from results.review.selectors import holds_of
from rigs.refusals import Invalid

OPENINGS = {
    "release": "Thank you for this set, and for waiting while it was looked at.",
    "reject": "I looked closely at this set and have decided to leave it out of its pool.",
    "hold": "I want to look further into this set before it counts.",
    "ask": "I am looking at this set and would like to hear from you before deciding.",
}
CLOSINGS = {
    "release": "I looked at its pulls and its straight line and found them in order: it counts in "
    "its pool from now on. There is nothing for you to do.",
    "reject": "What was seen is not explained, so the set stays out of its pool. It is kept as you "
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


FIGURE = re.compile(r"\d[\d.,]*\d")
"""A figure of at least two digits, as evidence has and few other words do."""


def draft(pull_set: PullSet, decision: str) -> str:
    """A first wording of ``decision`` (release, reject, hold or ask), with the evidence in it."""
    return "\n\n".join(_paragraphs(pull_set, decision).values())


def letters_to(
    pull_sets: Sequence[PullSet], text: str, decision: str, *, of: PullSet | None = None
) -> dict[int, str]:
    """What the contributor of each set reads where a moderator wrote ``text`` to several.

    Each names its own set. Where ``text`` began as the draft about set ``of``, that set gets it
    as it is, and paragraphs left as they were drafted are replaced by the other set's own. Raises
    Invalid where what remains has a set's number, or a figure from the evidence of some of them:
    it would be said of sets that it is not true of. Without a word there are no letters.
    """
    if not text.strip():
        return {}
    if len(pull_sets) == 1:
        return {pull_sets[0].pk: text}
    drafted = {words: part for part, words in _paragraphs(of, decision).items()} if of else {}
    written = [each.strip() for each in text.replace("\r\n", "\n").split("\n\n")]
    own_words = "\n\n".join(each for each in written if each not in drafted)
    _check_true_of_all(pull_sets, own_words)
    letters = {}
    for pull_set in pull_sets:
        its = _paragraphs(pull_set, decision)
        parts = [its.get(drafted[each], "") if each in drafted else each for each in written]
        if its["opening"] not in parts:
            parts.insert(0, _about(pull_set))
        letters[pull_set.pk] = "\n\n".join(filter(None, parts))
    return letters | ({of.pk: text} if of else {})


def _about(pull_set: PullSet) -> str:
    return f"About set {pull_set.pk}, pulled on {pull_set.session.pulled_on:%Y-%m-%d}."


def _paragraphs(pull_set: PullSet, decision: str) -> dict[str, str]:
    """The paragraphs of a draft by what each says, in their order."""
    paragraphs = {"opening": f"{_about(pull_set)} {OPENINGS[decision]}"}
    holds = list(holds_of(pull_set))
    if holds:
        paragraphs["seen"] = "What was seen: " + " ".join(each.sentence for each in holds)
    known = [each.hold for each in holds if each.hold is not None]
    if known and decision in EXPLAINED:
        reasons = " ".join(dict.fromkeys(str(each.reasons) for each in known))
        settled = " ".join(dict.fromkeys(str(each.settled_by) for each in known))
        paragraphs["reasons"] = f"Honest reasons for this: {reasons}"
        paragraphs["settles"] = f"What settles it: {settled}"
    return paragraphs | {"closing": CLOSINGS[decision]}


def _check_true_of_all(pull_sets: Sequence[PullSet], words: str) -> None:
    seen = [
        set(FIGURE.findall(" ".join(each.sentence for each in holds_of(pull_set))))
        for pull_set in pull_sets
    ]
    of_some = set().union(*seen) - set.intersection(*seen)
    found = sorted(of_some.intersection(FIGURE.findall(words)))
    numbers = "|".join(str(pull_set.pk) for pull_set in pull_sets)
    found += [named.group() for named in re.finditer(rf"\bset (?:{numbers})\b", words)]
    if found:
        raise Invalid(
            gettext(
                "This letter goes to several sets, and %(found)s is of one of them alone. Leave "
                "what was drafted about the set as it is, and each gets its own instead; or "
                "decide on the others separately."
            )
            % {"found": ", ".join(f"'{each}'" for each in found)}
        )
