"""Whether a set is one on which a person has decided already, sent once more.

Looks for what a person held or rejected: a corrected version of its session in which most of its
readings stand, and a set of another session with all of them in their order.
"""

from collections import Counter

import numpy as np
from numpy.typing import ArrayLike

from results.statistics.screening.check import Check, Level

SAME_SHARE = 0.5
"""Of the readings; where more have changed, it is another set. Ours, no source."""

SHIFTED_STEPS = 2.0
"""Within so many steps of the scale a reading of a corrected version counts as the same."""

LEAST_IN_ORDER = 5
"""So many equal readings in their order are no chance of an honest repeat on any usual scale."""


def share_alike(
    readings: ArrayLike, earlier: ArrayLike, step: float, shifted_steps: float = SHIFTED_STEPS
) -> float:
    """Share of readings (n,) that stood in earlier ones (m,): of the longer of the two.

    At their place within a few steps, or as they were at any place; 0 where either is empty. On a
    coarse scale an honest repeat in any order lies within a few steps as well.
    """
    one, other = np.asarray(readings, dtype=float), np.asarray(earlier, dtype=float)
    if not one.size or not other.size:
        return 0.0
    shorter = min(one.size, other.size)
    apart = np.abs(one[:shorter] - other[:shorter])
    in_place = int((apart <= shifted_steps * step * (1 + 1e-9)).sum())
    as_written = (Counter(np.rint(each / step).tolist()) for each in (one, other))
    anywhere = (next(as_written) & next(as_written)).total()
    return max(in_place, anywhere) / max(one.size, other.size)


def same_in_order(readings: ArrayLike, earlier: ArrayLike, least: int = LEAST_IN_ORDER) -> bool:
    """Whether two series of so many readings or more are equal, each at its place."""
    one, other = np.asarray(readings, float), np.asarray(earlier, float)
    return (
        one.size >= least
        and one.size == other.size
        and bool(np.allclose(one, other, rtol=1e-9, atol=0.0))
    )


def decided_before(
    applies_to: str, share: float, decision: str, number: int, same_share: float = SAME_SHARE
) -> Check:
    """Whether a ``share`` of the readings stood in set ``number``, which a person held or rejected.

    ``decision`` is the state that the person moved it to.
    """
    same = share >= same_share
    return Check(
        "decided on before",
        applies_to,
        100 * share,
        100 * same_share,
        None,
        Level.HOLD if same else Level.NONE,
        f"{100 * share:.0f} percent of these readings stood in set {number}, which was "
        f"{decision} after a look at it: sent again, they wait for a look too.",
        "ours: a person's decision holds for the readings that it was taken on",
    )
