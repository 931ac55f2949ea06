"""A tester over time and beside peers: a slow shift, where ties part, and how fast they broke.

All of it happens to honest testers, who learn, change a spool or tie another way, so it marks.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

from results.statistics.screening.check import Check, Level
from results.statistics.screening.usual import usual_among

Floats = NDArray[np.float64]

SESSION_SD = 0.03
"""Between sessions of one tester on the log scale, 0.01 to 0.03 (common practice, no source)."""

ALLOWANCE, DECISION = 0.5, 4.0
"""In standard deviations: a shift of one is found after eight sessions on average, and none is
found where there is none before 168 (NIST/SEMATECH 6.3.2.3, both sides, from memory)."""

LEAST_SESSIONS = 3
LEAST_PEERS = 3
USUAL_SHARE_SD = 0.2
"""Between testers, of the arcsine of the root of a share (ours, no source)."""

LEAST_TIME_S = 1.0
"""A load raised by hand takes longer to break a line: ASTM D2256 has 20 s (the limit is ours)."""

PAGE = "Page (1954), cumulative sum; recursive residuals: Brown, Durbin & Evans (1975)"
ANSCOMBE = "Anscombe (1948), arcsine of a share; robust scale over testers"
PACE = "ASTM D2256: about 20 s to break; the limit is ours"


def session_scores(differences: ArrayLike, variances: ArrayLike) -> Floats:
    """Each but the first of differences (n,) against the mean of those before it: (n - 1,).

    In its standard deviations, so that a tester who always differs from the pool scores zero.
    """
    y, weight = np.asarray(differences, float), 1 / np.asarray(variances, float)
    before = np.cumsum(weight)[:-1]
    means = np.cumsum(weight * y)[:-1] / before
    return np.asarray((y[1:] - means) / np.sqrt(1 / weight[1:] + 1 / before), dtype=np.float64)


def slow_shift(
    applies_to: str, above: float, below: float, sessions: int, decision: float = DECISION
) -> Check | None:
    """Whether a tester's results have shifted against those of the pool without them.

    ``above`` and ``below`` are the cumulated excesses at this session, of so many. None below
    three sessions.
    """
    if sessions < LEAST_SESSIONS:
        return None
    shifted = max(above, below)
    return Check(
        "slow shift",
        applies_to,
        shifted,
        decision,
        None,
        Level.MARK if shifted > decision else Level.NONE,
        f"Over {sessions} sessions these results have {'risen' if above >= below else 'fallen'} "
        "against those of the other testers: another way of tying, another spool, or practice.",
        PAGE,
    )


def parting_places(
    applies_to: str,
    outlasted: int,
    pulls: int,
    peers: ArrayLike,
    peers_pulls: ArrayLike,
    usual_share_sd: float = USUAL_SHARE_SD,
    alpha: float = 0.01,
) -> Check | None:
    """Whether a tester's joins outlast the line in another share of pulls than those of peers (m,).

    None with fewer than three peers, or without pulls.
    """
    among = np.asarray(peers_pulls, float)
    if among.size < LEAST_PEERS or pulls < 1:
        return None
    usual = usual_among(_arcsine(np.asarray(peers, float), among), usual_share_sd)
    own = float(_arcsine(np.array([outlasted], float), np.array([pulls], float))[0])
    sd = math.hypot(usual.sd, 1 / math.sqrt(4 * pulls + 2))
    t = (own - usual.centre) / sd
    return Check(
        "where ties part",
        applies_to,
        t,
        math.copysign(float(student.isf(alpha / 2, usual.degrees_of_freedom)), t),
        2 * float(student.sf(abs(t), usual.degrees_of_freedom)),
        Level.NONE,
        f"In {outlasted} of {pulls} pulls the line parted before the join; of other testers' "
        f"pulls of this join {100 * math.sin(usual.centre) ** 2:.0f} percent did. A join tied "
        "better or worse, or another word for where it parted.",
        ANSCOMBE,
        at_most=Level.MARK,
        alpha=alpha,
    )


def time_to_break(
    applies_to: str, times_s: ArrayLike, least_time_s: float = LEAST_TIME_S
) -> Check | None:
    """Whether pulls of a slowly raised load (n,) took as long as a hand takes. None without any."""
    times = np.asarray(times_s, float)
    if not times.size:
        return None
    middle = float(np.median(times))
    return Check(
        "faster than a hand pulls",
        applies_to,
        middle,
        least_time_s,
        None,
        Level.MARK if middle < least_time_s else Level.NONE,
        f"Half of the pulls are recorded to have broken within {middle:.1f} s; a load raised "
        f"slowly takes {least_time_s:.0f} s at least.",
        PACE,
    )


def _arcsine(count: Floats, among: Floats) -> Floats:
    return np.asarray(np.arcsin(np.sqrt((count + 0.375) / (among + 0.75))), dtype=np.float64)
