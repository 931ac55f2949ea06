"""A set in another unit than it says: found by what the tester's other sets and the pool have.

Kilograms among pounds are 0.454 of what they should be. A join can be that weak; one tester's one
set that is weaker than all their others by that very factor has a likelier reason.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from results.statistics.screening.check import Check, Level
from results.statistics.screening.straight_line import (
    CONSTANTS,
    UNIT_TOLERANCE,
    nearest_mix_up,
)

LEAST_SDS = 4.0
"""Below that a set may well lie so far off by itself."""

LEAST_FACTOR = 1.8
APART_OVER_SCATTER = 5.0
WITHIN_TOLERANCE = 0.08
LEAST_GROUP = 3


def mixed_units_in_set(
    applies_to: str,
    log_ratio: float,
    expected_log_ratio: float,
    prediction_sd: float,
    entered: str = "",
    tolerance: float = UNIT_TOLERANCE,
    least_sds: float = LEAST_SDS,
) -> Check:
    """Whether joined pulls and straight pulls seem to be in different units.

    ``expected_log_ratio`` is what the pool has, and where the tester has other sets what these lie
    off their pools as well; ``entered`` is the unit of the set. Held where a factor of units
    brings the set home and nothing else is likely to: an honest set may be so weak by itself.
    """
    off = log_ratio - expected_log_ratio
    near = nearest_mix_up(math.exp(off), entered, tolerance)
    held = near.distance <= tolerance and abs(off) > least_sds * prediction_sd
    return Check(
        "units of joined and straight pulls",
        applies_to,
        near.distance,
        tolerance,
        None,
        Level.HOLD if held else Level.NONE,
        f"This join held {math.exp(off):.2f} times what your other sets and other testers let "
        f"expect; {near.explanation} would give {near.factor:.2f}. {near.repair}",
        CONSTANTS,
        meant_unit=near.meant if held else "",
    )


def units_within_set(
    applies_to: str, loads_N: ArrayLike, entered: str = "", tolerance: float = WITHIN_TOLERANCE
) -> Check | None:
    """Whether loads (n,) fall into two groups that are a factor of units apart.

    Three pulls or more in each, five times their scatter apart, and half of that empty. Honest
    reasons: a second way to fail at half the load. None where the loads are in one group.
    """
    x = np.sort(np.log(np.asarray(loads_N, dtype=float)))
    if x.size < 2 * LEAST_GROUP + 1:
        return None
    cut = LEAST_GROUP + int(np.argmax(np.diff(x)[LEAST_GROUP - 1 : x.size - LEAST_GROUP]))
    low, high = x[:cut], x[cut:]
    squares = ((low - low.mean()) ** 2).sum() + ((high - high.mean()) ** 2).sum()
    scatter = math.sqrt(float(squares) / (x.size - 2))
    apart = float(high.mean() - low.mean())
    gap = high[0] - low[-1]
    if apart < max(math.log(LEAST_FACTOR), APART_OVER_SCATTER * scatter) or 2 * gap < apart:
        return None
    ways = [nearest_mix_up(math.exp(way * apart), entered, tolerance) for way in (-1, 1)]
    near = min(ways, key=lambda slip: (not slip.meant, slip.distance))
    return Check(
        "units within the set",
        applies_to,
        near.distance,
        tolerance,
        None,
        Level.HOLD if near.distance <= tolerance else Level.NONE,
        f"{low.size} pulls lie together and {high.size} others {math.exp(apart):.2f} times as "
        f"high; {near.explanation} would give {near.factor:.2f}. {near.repair}",
        CONSTANTS,
    )
