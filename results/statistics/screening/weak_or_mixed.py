"""A set far below its straight line: a weak join, or readings in another unit.

Kilograms among pounds are 0.454 of what they should be, and an honest join can hold as little. So
both are held against what one document shows: how far below the set lies, how its pulls scatter,
sets of the same tie beside it, and the decimals of its readings. The likelier of the two is named.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from results.statistics.screening.straight_line import NEWTONS, UNIT_TOLERANCE

WEAK_BELOW = 0.5
"""Share of the straight line above which no set is taken for one in another unit."""
USUAL_SHARE, USUAL_SPREAD = 0.7, 0.28
"""What joins keep of their straight line, and the standard deviation of its logarithm between
joins (common practice, no source)."""
ALIKE_SPREAD = 0.2
"""The same between two sets of one tie in one document."""
SOUND_SCATTER, WEAK_SCATTER, SPREAD_OF_SCATTER = 0.06, 0.11, 0.5
"""Coefficient of variation within a set of sound joins and of weak ones, and the standard
deviation of its logarithm (common practice, no source)."""
MOST_OF_SCATTER = 4.0
"""By how much scatter alone may turn the odds: few pulls say little of it."""
MORE_DECIMALS = 10.0
"""By how much a decimal more than the straight line's turns the odds: a scale shows as many of
each pull, unless its unit was changed (common practice, no source)."""
BEFORE = {frozenset(("lbf", "kgf")): 1 / 20, frozenset(("lbf", "N")): 1 / 20,
          frozenset(("kgf", "N")): 1 / 20}  # fmt: skip
SELDOM = 1 / 100
"""Odds of a slip between two units before anything is seen; ``SELDOM`` of other pairs (common
practice, no source)."""


@dataclass(frozen=True)
class UnitSlip:
    """Readings in ``meant`` that were entered as ``entered``, ``odds`` to one; a share of the
    straight line is ``factor`` times what it should be."""

    meant: str
    entered: str
    factor: float
    odds: float


def unit_slip(
    shares: ArrayLike,
    units: Collection[str],
    straight_units: Collection[str],
    others: Collection[float] = (),
    *,
    more_decimals: bool = False,
) -> UnitSlip | None:
    """The slip of units that explains low ``shares`` (n,) of the straight line better than a weak
    join does; None where none does, or where either side has several units.

    ``others`` are the middle shares of sets of the same tie, from which a slip is the very factor.
    """
    x = np.asarray(shares, dtype=float)
    if len(units) != 1 or len(straight_units) != 1 or not x.size or not (x > 0).all():
        return None
    seen = math.log(float(np.median(x)))
    usual, spread = math.log(USUAL_SHARE), USUAL_SPREAD
    known = [share for share in others if share > 0]
    if known:
        usual, spread = float(np.median(np.log(known))), ALIKE_SPREAD
    beside = _odds_by_scatter(x) * (MORE_DECIMALS if more_decimals else 1.0)
    slips = [
        UnitSlip(meant, entered, factor, beside * before * _times(seen, usual, spread, factor))
        for meant, entered, factor, before in _slips(*units, *straight_units)
        if factor < 1 and (not known or abs(seen - usual - math.log(factor)) <= UNIT_TOLERANCE)
    ]
    best = max(slips, key=lambda slip: slip.odds, default=None)
    return best if best is not None and best.odds > 1 else None


def _slips(unit: str, straight_unit: str) -> list[tuple[str, str, float, float]]:
    """What was meant and entered, the factor on a share, and the odds beforehand.

    Of the set, and of the straight line, of which a slip works the other way.
    """
    found = []
    for entered, way in ((unit, 1.0), (straight_unit, -1.0)):
        for meant in NEWTONS:
            if meant != entered:
                factor = (NEWTONS[entered] / NEWTONS[meant]) ** way
                before = BEFORE.get(frozenset((meant, entered)), SELDOM)
                found.append((meant, entered, factor, before))
    return found


def _times(seen: float, usual: float, spread: float, factor: float) -> float:
    """How many times likelier a share is by a slip than without one."""
    honest = (seen - usual) / spread
    slipped = (seen - usual - math.log(factor)) / spread
    return math.exp(min(700.0, (honest**2 - slipped**2) / 2))


def _odds_by_scatter(shares: np.ndarray) -> float:
    """How many times likelier this scatter is of sound joins than of weak ones."""
    if shares.size < 3:
        return 1.0
    scatter = max(float(shares.std(ddof=1) / shares.mean()), 0.005)
    sound = math.log(scatter / SOUND_SCATTER) / SPREAD_OF_SCATTER
    weak = math.log(scatter / WEAK_SCATTER) / SPREAD_OF_SCATTER
    times = math.exp(min(700.0, (weak**2 - sound**2) / 2))
    return min(MOST_OF_SCATTER, max(1 / MOST_OF_SCATTER, times))
