"""Why an honest set can trip each check that holds, and what settles it, by the check's name.

One entry a check: pages, API, notices, mails and the moderators' desk take it from here
(`tests/screening/test_holds_are_declared.py` holds the checks to it). Nothing here is of a person
or a set, so that a mail can say it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SPEAKS_FOR = "traces of its own"
"""What is said for a set whose pulls were recorded: it never holds, and moderators see it."""
INFLUENCE = "influence on the pool"
"""The check that asks how far a set moves its pool's figure."""


@dataclass(frozen=True)
class Hold:
    """Honest reasons to trip a check, and what would settle it; each a whole sentence."""

    reasons: Promise
    settled_by: Promise


_ROUNDED = _(
    "Give the steps that you read to as the resolution of the rig, if you round; else say in the "
    "thread how the scale is read, or pull the set once more."
)
_OTHER_COPY = _(
    "Say in the thread whose pulls they are and how they came twice into the records, or withdraw "
    "the session in which they are not your own. A repeat of the set settles it as well."
)
_STRAIGHT_AGAIN = _(
    "Five more pulls of straight line off the same spool, sent with the session or as the next "
    "one; or the label, unit or spool put right in the session, if one of them was entered wrongly."
)
_UNIT = _(
    "Look at the unit of the session and of each pull. If one is wrong, the page of the session "
    "corrects it with one click where it is plain which was meant; else send a corrected version. "
    "If all are right, a repeat of the set or of its straight line settles it."
)
_BASELINE_AND_REPEAT = _(
    "Five more pulls of straight line off the same spool, without slipping or breaking at the "
    "grip; or a repeat of the set on another day."
)

HOLDS: dict[str, Hold] = {
    "terminal digits": Hold(
        _("Readings that are rounded, a dial read by eye, or a display that skips steps."), _ROUNDED
    ),
    "repeated values": Hold(
        _("Readings that are rounded, or a display whose steps are wider than registered."),
        _ROUNDED,
    ),
    "sets that agree pull by pull": Hold(
        _("Readings that are rounded so far that few values are left, or the same pulls entered "
          "under two labels by mistake."),
        _ROUNDED,
    ),
    "copied within the session": Hold(
        _("The same pulls entered twice, as when a column is copied for the next set and not "
          "overwritten; or rounded readings."),
        _("Send a corrected version of the session in which each set has its own pulls; or give "
          "the resolution that you read to, if you round."),
    ),
    "copied from another session": Hold(
        _("The same day sent twice, by two people who pulled together or from two accounts; or "
          "rounded readings on a scale like yours."),
        _OTHER_COPY,
    ),
    "copied traces": Hold(
        _("One recording given to two pulls by mistake, as when a file is named twice."),
        _("Send a corrected version of the session in which each pull has its own recording, or "
          "none; or a repeat of the set."),
    ),
    "alike but for scale, order or a few steps": Hold(
        _("The same day sent twice, by two people who pulled together or from two accounts, or the "
          "pulls of one join entered under another; hardly ever chance."),
        _OTHER_COPY,
    ),
    "session that is another times a factor": Hold(
        _("The same day sent twice: entered again in another unit, or with a correction of the "
          "scale applied to every reading."),
        _OTHER_COPY,
    ),
    "session alike but for scale, order or a few steps": Hold(
        _("The same day sent twice, by two people who pulled together or from two accounts, or "
          "entered again in another unit."),
        _OTHER_COPY,
    ),
    "less scatter than any hand": Hold(
        _("Averages entered in place of single pulls, readings that are rounded, or a scale whose "
          "steps are wider than registered."),
        _("A repeat of the set, with every single pull as the scale showed it; or the resolution "
          "that you read to."),
    ),
    "too even spacing": Hold(
        _("Loads raised in equal steps, as with weights that are added, or chance."),
        _("Say in the thread how the load was raised, or pull the set once more."),
    ),
    "plausible efficiency": Hold(
        _("Straight line that slipped, broke at the grip or came off a weak spool, so that the "
          "join looks stronger than it is; or a hollow or doubled join that does hold more."),
        _BASELINE_AND_REPEAT,
    ),
    "stronger than the line": Hold(
        _("Straight line that slipped, broke at the grip or came off a weak spool; or pulls in "
          "which the line itself parted, noted as the join's."),
        _BASELINE_AND_REPEAT,
    ),
    "above the pool": Hold(
        _("A very good tyer, another way of tying, or straight line that was pulled too weak."),
        _BASELINE_AND_REPEAT,
    ),
    "units of joined and straight pulls": Hold(
        _("Another unit set on the scale between straight and joined pulls, or one of the two "
          "series entered in the wrong unit."),
        _UNIT,
    ),
    "unit mix-up": Hold(
        _("Another unit set on the scale than the one entered, or another line than the one "
          "named."),
        _UNIT,
    ),
    "straight line against its label": Hold(
        _("A label that states more or less than the line holds, a weak or old spool, or a wrong "
          "unit."),
        _STRAIGHT_AGAIN,
    ),
    "weak straight line under strong joins": Hold(
        _("Straight line that slipped or broke at the grip, or that came off another spool than "
          "the joins; or a very good tyer with a weak spool."),
        _STRAIGHT_AGAIN,
    ),
    "units within the set": Hold(
        _("Another unit set on the scale for some of the pulls, or a second way to fail at half "
          "the load."),
        _UNIT,
    ),
    "reading above capacity": Hold(
        _("A capacity registered too low, or a reading mistyped by a digit."),
        _("Put the rig's capacity right, or send a corrected version of the session."),
    ),
    "decided on before": Hold(
        _("A corrected version of a session in which this set has stayed as it was, or the same "
          "day sent again for another reason."),
        _("A moderator's decision on the set that was held or rejected, or a repeat of the set. "
          "Where its readings were wrong, a version of the session with the right ones."),
    ),
    "impossible times": Hold(
        _("A day entered wrongly, pulls of several days sent as one, or times in another unit."),
        _("Send a corrected version of the session with the day and the times put right."),
    ),
    INFLUENCE: Hold(
        _("Any set may: where few testers share a pool, one that differs from them moves the "
          "figure. Nothing is said to be wrong with it."),
        _("A second tester, not linked to you, who came to the service at least a month before or "
          "after you and whose result in this pool lies nearer to yours than to the figure of the "
          "others; more testers, so that it moves the figure less; or a "
          "moderator's look. Whichever comes first, it counts by itself from then on."),
    ),
}  # fmt: skip

OTHERWISE = Hold(
    _("Every check has been tripped by honest sets."),
    _("Say in the thread what explains it, or pull the set once more."),
)
"""Of a check that an earlier or later release runs, whose results are stored."""


def hold_named(check: str) -> Hold:
    """What is declared of the check of that name."""
    return HOLDS.get(check, OTHERWISE)
