"""Straight line that can't be what it is said to be: against its label, and against other people's.

A mix-up of units multiplies a load by the ratio of two units of force (1 lbf = 4.4482 N and
1 kgf = 9.80665 N, exact by the international pound of 1959 and CGPM 1901). Labels can't reveal it
by themselves: an honest line parts at 0.9 to 2.5 times its label. The same product in other hands
can.
"""

import math
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from results.statistics.screening.check import Check, Level
from results.statistics.screening.usual import LEAST_TESTERS, USUAL_FREEDOM, Usual, usual_among

NEWTONS = {
    "N": 1.0,
    "kN": 1000.0,
    "lbf": 4.4482216152605,
    "kgf": 9.80665,
    "gf": 0.00980665,
    "ozf": 0.27801385095378125,
}
"""Newtons in one of each unit that a reading can be written in."""

UNIT_NAMES = {
    "N": "newtons",
    "kN": "kilonewtons",
    "lbf": "pounds-force",
    "kgf": "kilograms-force",
    "gf": "grams-force",
    "ozf": "ounces-force",
}
DECIMAL_POINT = "a decimal point in the wrong place"
UNIT_TOLERANCE = 0.12
"""On the log scale; rigs that were never calibrated read up to a tenth apart (common practice, no
source)."""

LABEL_LIMITS = (0.8, 2.0)
LABEL_IMPOSSIBLE = (0.5, 4.5)
"""Actual over label strength: nylon 0.9 to 1.8, braid 1.0 to 2.5 (common practice, no source)."""

USUAL_BETWEEN_SD = 0.06
"""Straight strength of one product between testers, on the log scale: two rounds on one rig agree
within 5 percent, and rigs read up to a tenth apart (common practice, no source)."""

BOTH_ALPHA = 0.025

TRADE = "common practice, no source"
CONSTANTS = "1 lbf = 4.4482216152605 N (international pound, 1959), 1 kgf = 9.80665 N (CGPM 1901)"
DIFFERENCE = (
    "t of a new tester's straight strength among medians of others (ISO 5725-2, Mandel's h)"
)
BOTH = "intersection-union test (Berger 1982)"


@dataclass(frozen=True)
class MixUp:
    """The slip of units nearest to a factor, and its distance on the log scale.

    ``meant`` is the unit that should have been chosen, empty for a decimal point.
    """

    explanation: str
    meant: str
    factor: float
    distance: float

    @property
    def repair(self) -> str:
        """What it would be put right to, as a sentence; what is held says by which step."""
        if self.meant:
            return f"If so, its unit is {self.meant}."
        if self.explanation == DECIMAL_POINT:
            return "If so, the point belongs in another place."
        return "Which unit do the scale and the file have?"


def nearest_mix_up(ratio: float, entered: str = "", tolerance: float = UNIT_TOLERANCE) -> MixUp:
    """Which slip of units comes nearest to a ratio of two strengths.

    One that explains how ``entered`` came to be the unit goes before all others, where it lies
    within the tolerance. One of two other units is named as such, and puts nothing right.
    """
    slips = [
        MixUp(
            f"{UNIT_NAMES[meant]} entered as {UNIT_NAMES[unit]}",
            meant,
            NEWTONS[unit] / NEWTONS[meant],
            abs(math.log(ratio * NEWTONS[meant] / NEWTONS[unit])),
        )
        for meant, unit in permutations(NEWTONS, 2)
        if not entered or unit == entered
    ]
    nearest = min(slips, key=lambda slip: slip.distance)
    if entered:
        return nearest if nearest.distance <= tolerance else _of_others(nearest_mix_up(ratio))
    points = [
        MixUp(DECIMAL_POINT, "", factor, abs(math.log(ratio / factor))) for factor in (0.1, 10.0)
    ]
    return min([nearest, *points], key=lambda slip: slip.distance)


def _of_others(slip: MixUp) -> MixUp:
    """The same, which says nothing of the unit that was entered."""
    if not slip.meant:
        return slip
    return replace(slip, explanation=f"a factor as in {slip.explanation}", meant="")


def against_label(
    applies_to: str,
    straight_N: float,
    label_N: float,
    look_outside: tuple[float, float] = LABEL_LIMITS,
    ask_outside: tuple[float, float] = LABEL_IMPOSSIBLE,
) -> Check:
    """Straight strength over label: marked outside the narrower limits, held outside the wider."""
    ratio = straight_N / label_N
    if not ask_outside[0] <= ratio <= ask_outside[1]:
        level = Level.HOLD
    elif not look_outside[0] <= ratio <= look_outside[1]:
        level = Level.MARK
    else:
        level = Level.NONE
    limits = ask_outside if level == Level.HOLD else look_outside
    return Check(
        "straight line against its label",
        applies_to,
        ratio,
        limits[0] if ratio < 1 else limits[1],
        None,
        level,
        f"This line parted straight at {ratio:.2f} times the strength on its label; most lines "
        f"part at {look_outside[0]:g} to {look_outside[1]:g} times.",
        TRADE,
    )


def unit_mix_up(
    applies_to: str,
    straight_N: float,
    others_N: ArrayLike,
    entered: str = "",
    tolerance: float = UNIT_TOLERANCE,
) -> Check | None:
    """Whether the same line is some ratio of units away from other testers' (k,) strengths.

    ``entered`` is the unit of its readings. None with fewer than two others: of two that differ,
    neither is known to be right.
    """
    others = np.asarray(others_N, dtype=float)
    if others.size < 2:
        return None
    ratio = straight_N / float(np.exp(np.median(np.log(others))))
    near = nearest_mix_up(ratio, entered, tolerance)
    held = near.distance <= tolerance
    return Check(
        "unit mix-up",
        applies_to,
        near.distance,
        tolerance,
        None,
        Level.HOLD if held else Level.NONE,
        f"This line parted straight at {ratio:.2f} times what {others.size} other testers found; "
        f"{near.explanation} would give {near.factor:.2f}. {near.repair}",
        CONSTANTS,
        meant_unit=near.meant if held else "",
    )


def against_other_baselines(
    applies_to: str, straight_N: float, others_N: ArrayLike, alpha: float = 0.01
) -> Check | None:
    """Whether this tester's straight line fits with other testers' (k,) means of the same line.

    A weak or strong spool weakens or strengthens joins as well and leaves their efficiency in
    place, and so does a rig that reads low or high: by itself it marks. None with fewer than three
    others.
    """
    usual = usual_straight(others_N)
    if usual is None:
        return None
    t = (math.log(straight_N) - usual.centre) / usual.sd
    percent = 100 * abs(math.expm1(math.log(straight_N) - usual.centre))
    way = "stronger" if t > 0 else "weaker"
    return Check(
        "straight line against other testers",
        applies_to,
        t,
        math.copysign(float(student.isf(alpha / 2, usual.degrees_of_freedom)), t),
        2 * float(student.sf(abs(t), usual.degrees_of_freedom)),
        Level.NONE,
        f"This line parted straight {percent:.0f} percent {way} than in the hands of "
        f"{usual.testers} other testers. Another spool or a rig that reads otherwise does this, "
        "and leaves the efficiency as it is.",
        DIFFERENCE,
        at_most=Level.MARK,
        alpha=alpha,
    )


def weak_under_strong_joins(
    applies_to: str,
    straight_N: float,
    others_N: ArrayLike,
    joins_t: ArrayLike,
    degrees_of_freedom: float,
    alpha: float = BOTH_ALPHA,
) -> Check | None:
    """Whether straight line is weak and the joins measured against it are strong, both at once.

    ``joins_t`` (m,) are the sets' distances from what their pools expect of a new tester, in
    standard deviations, each on ``degrees_of_freedom`` or more; a tester's sets go together, so
    that their mean has a variance of up to 1. Either alone is honest: an intersection-union test
    (Berger 1982, Technometrics 24:295), whose p is the larger of the two. None with fewer than
    three other testers or without such a set.
    """
    usual, t = usual_straight(others_N), np.asarray(joins_t, dtype=float)
    if usual is None or not t.size:
        return None
    below = float(
        student.cdf((math.log(straight_N) - usual.centre) / usual.sd, usual.degrees_of_freedom)
    )
    above = float(student.sf(float(t.mean()), degrees_of_freedom))
    share = 100 * math.exp(math.log(straight_N) - usual.centre)
    return Check(
        "weak straight line under strong joins",
        applies_to,
        max(below, above),
        alpha,
        None,
        Level.HOLD if max(below, above) <= alpha else Level.NONE,
        f"This line parted straight at {share:.0f} percent of what {usual.testers} other testers "
        f"found, and the joins measured against it hold more of it than theirs do. Straight line "
        "that slipped, broke at the grip or came off another spool than the joins does this.",
        BOTH,
    )


def usual_straight(others_N: ArrayLike) -> Usual | None:
    """What other testers' (k,) means of a line say of the next one's; None below three."""
    others = np.log(np.asarray(others_N, dtype=float))
    if others.size < LEAST_TESTERS:
        return None
    return usual_among(others, USUAL_BETWEEN_SD, USUAL_FREEDOM)
