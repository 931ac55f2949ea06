"""The rig and the day: calibration, drift, pace, and times that can't be.

None of these is a fault of the pulls by itself, so they mark; what no rig and no day can do is
held.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from results.statistics.screening.check import Check, Level

STALE_DAYS = 26 * 365.25 / 12
"""ISO 7500-1:2018, 10: recalibrate after at most 26 months."""

MOST_ERROR = 0.03
"""ISO 7500-1:2018, table 2: the largest error of class 3, as a share of the force."""

LEAST_SESSIONS = 3
LEAST_SESSION_SD = 0.018
"""On the log scale: 0.05/(1.96 sqrt 2), as two rounds of straight line on an unchanged rig agree
within about 5 percent (common practice, no source)."""

MOST_PACE_RATIO = 2.0
MINUTES_A_DAY = 1440

ISO_7500 = "ISO 7500-1:2018"
TRADE = "common practice, no source"
DRIFT = "t prediction from the earlier sessions; 5 percent: common practice, no source"
PACE = "ASTM D2256, ISO 2062: time to break of what is compared alike; a factor of two is ours"
CLOCK = "a pull takes a minute at least, a day has 1440 (arithmetic)"


@dataclass(frozen=True)
class Calibrated:
    """The calibration in force: age in days on the day, and the range of its weights in newtons.

    ``worst_error`` is the largest share of a known force by which its readings still miss it once
    the calibration line has corrected them, half a step of the scale allowed.
    """

    age_days: float
    lowest_N: float
    highest_N: float
    worst_error: float


def calibration(
    applies_to: str,
    known: Calibrated | None,
    highest_load_N: float,
    stale_days: float = STALE_DAYS,
    most_error: float = MOST_ERROR,
) -> list[Check]:
    """Missing, stale, out of range, or poor; all of them mark."""
    if known is None:
        return [
            _rig_mark(
                "calibration missing", applies_to, 0.0, 1.0, True,
                "The rig had not been calibrated by that day: its zero is unknown.",
            )
        ]  # fmt: skip
    return [
        _rig_mark(
            "calibration stale", applies_to, known.age_days, stale_days,
            known.age_days > stale_days,
            f"The rig was calibrated {known.age_days:.0f} days before; after "
            f"{stale_days:.0f} days it should be again.",
        ),
        _rig_mark(
            "beyond the calibration", applies_to, highest_load_N, known.highest_N,
            highest_load_N > known.highest_N,
            f"The highest load was {highest_load_N:.0f} N; check weights went up to "
            f"{known.highest_N:.0f} N.",
        ),
        _rig_mark(
            "calibration poor", applies_to, 100 * known.worst_error, 100 * most_error,
            known.worst_error > most_error,
            f"Corrected by their calibration line, readings under known weights still miss them "
            f"by up to {100 * known.worst_error:.1f} percent.",
        ),
    ]  # fmt: skip


def _rig_mark(
    name: str, applies_to: str, figure: float, threshold: float, marked: bool, sentence: str
) -> Check:
    level = Level.MARK if marked else Level.NONE
    return Check(name, applies_to, figure, threshold, None, level, sentence, ISO_7500)


def moved_since(
    applies_to: str, straight_N: float, earlier_N: ArrayLike, alpha: float = 0.01
) -> Check | None:
    """Whether straight line now parts elsewhere than in earlier sessions (k,) of this revision.

    None with fewer than three. The day's own baseline keeps an efficiency right, so it marks.
    """
    earlier = np.log(np.asarray(earlier_N, dtype=float))
    k = earlier.size
    if k < LEAST_SESSIONS:
        return None
    sd = max(float(earlier.std(ddof=1)), LEAST_SESSION_SD) * math.sqrt(1 + 1 / k)
    difference = math.log(straight_N) - float(earlier.mean())
    return Check(
        "rig drift",
        applies_to,
        100 * math.expm1(difference),
        math.copysign(100 * math.expm1(float(student.isf(alpha / 2, k - 1)) * sd), difference),
        2 * float(student.sf(abs(difference) / sd, k - 1)),
        Level.NONE,
        f"This line parts {100 * math.expm1(difference):+.1f} percent from the {k} earlier "
        "sessions on this rig: a drifting scale, another lot of line, or the weather.",
        DRIFT,
        at_most=Level.MARK,
        alpha=alpha,
    )


def like_pace(
    applies_to: str, joined_s: float, straight_s: float, most_ratio: float = MOST_PACE_RATIO
) -> Check:
    """Whether joins and straight line broke in like times, within a factor of ``most_ratio``."""
    ratio = joined_s / straight_s
    far = not 1 / most_ratio <= ratio <= most_ratio
    return Check(
        "time to break",
        applies_to,
        ratio,
        most_ratio if ratio > 1 else 1 / most_ratio,
        None,
        Level.MARK if far else Level.NONE,
        f"Joined pulls took {joined_s:.0f} s to break, straight ones {straight_s:.0f} s; line gets "
        "stronger when pulled faster, so the two should be pulled alike.",
        PACE,
    )


def within_capacity(applies_to: str, highest_reading_N: float, capacity_N: float) -> Check:
    """Whether the scale can show what was read on it."""
    beyond = highest_reading_N > capacity_N
    return Check(
        "reading above capacity",
        applies_to,
        highest_reading_N,
        capacity_N,
        None,
        Level.HOLD if beyond else Level.NONE,
        f"The highest reading is {highest_reading_N:.0f} N; this scale shows at most "
        f"{capacity_N:.0f} N.",
        "capacity as registered for the rig",
    )


def possible_times(applies_to: str, pulls: int, recorded_seconds: float, days_ahead: int) -> Check:
    """Whether a day was long enough, and had come.

    ``pulls`` are the tester's of that date, ``recorded_seconds`` the sum of their times to break,
    ``days_ahead`` how far the date lies after the day it was sent (a day for time zones is free).
    """
    minutes = max(float(pulls), recorded_seconds / 60)
    impossible = minutes > MINUTES_A_DAY or days_ahead > 1
    answer = f"{pulls} pulls on one day take at least {minutes:.0f} of its {MINUTES_A_DAY} minutes."
    if days_ahead > 1:
        answer = f"The day of the pulls lies {days_ahead} days after the day they were sent."
    return Check(
        "impossible times",
        applies_to,
        minutes,
        float(MINUTES_A_DAY),
        None,
        Level.HOLD if impossible else Level.NONE,
        answer,
        CLOCK,
    )
