"""Straight line that can't be what it is said to be: against its label, and against other people's.

A mix-up of units multiplies a load by the ratio of two of lbf, kgf and N (1 lbf = 4.4482 N and
1 kgf = 9.80665 N, exact by the international pound of 1959 and CGPM 1901). Labels can't reveal it
by themselves: an honest line parts at 0.9 to 2.5 times its label. The same product in other hands
can.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from results.statistics.screening.check import Check, Level

UNIT_FACTORS = {
    "pounds-force entered as newtons": 1 / 4.4482216152605,
    "newtons entered as pounds-force": 4.4482216152605,
    "kilograms-force entered as newtons": 1 / 9.80665,
    "newtons entered as kilograms-force": 9.80665,
    "kilograms-force entered as pounds-force": 0.45359237,
    "pounds-force entered as kilograms-force": 1 / 0.45359237,
}
UNIT_TOLERANCE = 0.12
"""On the log scale; rigs that were never calibrated read up to a tenth apart (common practice, no
source)."""

LABEL_LIMITS = (0.8, 2.0)
LABEL_IMPOSSIBLE = (0.5, 4.5)
"""Actual over label strength: nylon 0.9 to 1.8, braid 1.0 to 2.5 (common practice, no source)."""

LEAST_TESTERS = 3
LEAST_BETWEEN_SD = 0.03
"""Straight strength of one product between testers, on the log scale: two rounds on one rig agree
within 5 percent (common practice, no source), so testers are not believed nearer than this."""

TRADE = "common practice, no source"
CONSTANTS = "1 lbf = 4.4482216152605 N (international pound, 1959), 1 kgf = 9.80665 N (CGPM 1901)"
DIFFERENCE = "t prediction interval of a new tester's straight strength (ISO 5725-2, Mandel's h)"


@dataclass(frozen=True)
class MixUp:
    """The exchange of units nearest to a factor, and its distance on the log scale."""

    explanation: str
    factor: float
    distance: float


def nearest_mix_up(ratio: float) -> MixUp:
    """Which exchange of units comes nearest to a ratio of two strengths."""
    distances = {name: abs(math.log(ratio / factor)) for name, factor in UNIT_FACTORS.items()}
    name = min(distances, key=distances.__getitem__)
    return MixUp(name, UNIT_FACTORS[name], distances[name])


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
    applies_to: str, straight_N: float, others_N: ArrayLike, tolerance: float = UNIT_TOLERANCE
) -> Check | None:
    """Whether the same line is some ratio of units away from other testers' (k,) strengths.

    None with fewer than two others: of two that differ, neither is known to be right.
    """
    others = np.asarray(others_N, dtype=float)
    if others.size < 2:
        return None
    ratio = straight_N / float(np.exp(np.median(np.log(others))))
    near = nearest_mix_up(ratio)
    return Check(
        "unit mix-up",
        applies_to,
        near.distance,
        tolerance,
        None,
        Level.HOLD if near.distance <= tolerance else Level.NONE,
        f"This line parted straight at {ratio:.2f} times what {others.size} other testers found; "
        f"{near.explanation} would give {near.factor:.2f}.",
        CONSTANTS,
    )


def against_other_baselines(
    applies_to: str, straight_N: float, others_N: ArrayLike, alpha: float = 0.01
) -> Check | None:
    """Whether this tester's straight line fits with other testers' (k,) means of the same line.

    None with fewer than three others.
    """
    others = np.log(np.asarray(others_N, dtype=float))
    k = others.size
    if k < LEAST_TESTERS:
        return None
    sd = max(float(others.std(ddof=1)), LEAST_BETWEEN_SD) * math.sqrt(1 + 1 / k)
    difference = math.log(straight_N) - float(others.mean())
    percent = 100 * abs(math.expm1(difference))
    way = "stronger" if difference > 0 else "weaker"
    return Check(
        "straight line against other testers",
        applies_to,
        difference / sd,
        float(student.isf(alpha / 2, k - 1)) * (1 if difference >= 0 else -1),
        2 * float(student.sf(abs(difference) / sd, k - 1)),
        Level.NONE,
        f"This line parted straight {percent:.0f} percent {way} than in the hands of {k} other "
        f"testers; these differ by {100 * float(others.std(ddof=1)):.1f} percent among themselves.",
        DIFFERENCE,
        alpha=alpha,
    )
