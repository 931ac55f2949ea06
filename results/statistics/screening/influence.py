"""How far a set moves its pool's figure, and from what on it waits for a second look.

The measure is what deleting a group of cases changes (Cook & Weisberg 1982, Residuals and
Influence in Regression, 3.2 and 3.6), in parts of the figure's own interval. The limit asks what
is moved, never who moves it; its constants are chosen by a curve of accepted fraud against honest
newcomers that wait (`deploy/decisions/0010-influence.md`, `deploy/bench influence`).
"""

import math

from results.statistics.quantiles import t_quantile
from results.statistics.screening.check import Check, Level

PART = 0.5
LEAST, MOST = 0.015, 0.04
"""A shift of the log below LEAST never waits, one above MOST always does; between them it waits
from PART of half the width of the interval on."""

NEAR = 1.0
"""So many standard errors of a difference two testers may be apart to confirm each other."""

ACCEPTED_SESSIONS, WIDER = 3, 1.25
"""So many accepted sessions make the limit so much wider."""

NAME = "influence on the pool"
SOURCE = "Cook & Weisberg (1982), deletion of groups of cases; limit by simulation"


def half_width(se: float, testers: int) -> float:
    """Half the width of the 95 percent interval of a pool's mean, by Student's t."""
    return float(t_quantile(0.975, testers - 1)) * se


def influence_limit(
    half_width: float, accepted_sessions: int, part: float = PART, least: float = LEAST,
    most: float = MOST, wider: float = WIDER,
) -> float:  # fmt: skip
    """The largest shift of the log of the pooled efficiency that counts at once.

    ``half_width`` is that of the figure's interval without what is judged, on the log scale.
    """
    factor = wider if accepted_sessions >= ACCEPTED_SESSIONS else 1.0
    return factor * min(max(part * half_width, least), most)


def influence(
    applies_to: str, shift: float, largest: float, linked: bool, *, newcomers: bool
) -> Check:
    """Whether a set, with what is linked to it, moves the log of the pool's figure too far."""
    waits = abs(shift) > largest
    subject = "together with what is linked to it, " if linked else ""
    if newcomers:
        subject += "together with like results of others who came at the same time, "
    subject = f"{subject}it".capitalize()
    percent = 100 * math.expm1(shift)
    most = abs(100 * math.expm1(math.copysign(largest, shift)))
    return Check(
        NAME,
        applies_to,
        abs(percent),
        most,
        None,
        Level.HOLD if waits else Level.NONE,
        f"{subject} would move the pool's figure by {percent:+.1f} percent. From {most:.1f} "
        "percent on every tester's set waits for a second look, up or down."
        if waits
        else f"It moves the pool's figure by {percent:+.1f} percent; up to {most:.1f} percent "
        "counts at once.",
        SOURCE,
    )


def confirms(
    first: float, first_variance: float, second: float, second_variance: float, near: float = NEAR
) -> bool:
    """Whether two testers' log efficiencies are as near as the chance of their pulls explains."""
    return abs(first - second) <= near * math.sqrt(first_variance + second_variance)


def lies_nearer(second: float, first: float, others: float) -> bool:
    """Whether a second tester's log efficiency is nearer to the first than to the others' mean."""
    return abs(second - first) < abs(second - others)
