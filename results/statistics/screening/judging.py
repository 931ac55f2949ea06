"""All checks of one submission weighed together.

Benjamini & Hochberg (1995), JRSS B 57:289-300, step-up; checks on the same pulls depend on each
other positively, which it tolerates (Benjamini & Yekutieli 2001, Annals of Statistics 29:1165).
With nothing wrong at all, the share of submissions held by chance is at most HOLD_RATE.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotFinite
from results.statistics.screening.check import Check, Level

HOLD_RATE = 0.01
MARK_RATE = 0.05
"""Stragglers at 5 percent, outliers at 1 percent: ISO 5725-2:2019, 8.3."""


def adjusted(p: ArrayLike) -> NDArray[np.float64]:
    """Adjusted p values (m,): the smallest rate at which each would be rejected.

    Raises `NotFinite` where one is not a number from 0 to 1.
    """
    values = np.asarray(p, dtype=float)
    if not ((values >= 0) & (values <= 1)).all():
        raise NotFinite(f"p values have to lie from 0 to 1, found {values}")
    order = np.argsort(values)
    scaled = values[order] * values.size / np.arange(1, values.size + 1)
    running = np.minimum.accumulate(scaled[::-1])[::-1]
    result = np.empty_like(values)
    result[order] = np.minimum(running, 1.0)
    return result


def judge(
    checks: Sequence[Check], hold_rate: float = HOLD_RATE, mark_rate: float = MARK_RATE
) -> list[Check]:
    """The checks of one submission, in their order, each with its level and adjusted p value.

    Checks that can only mark are adjusted with all others, those that can hold among themselves:
    else a weak tyer's small p values would loosen the threshold for everything else.
    """
    every = _adjusted_by_row(checks, Level.MARK)
    holding = _adjusted_by_row(checks, Level.HOLD)
    judged = []
    for row, check in enumerate(checks):
        if check.p is None:
            judged.append(check)
        elif holding.get(row, 1.0) <= hold_rate and check.p <= check.alpha:
            judged.append(check.at(Level.HOLD, holding[row]))
        else:
            level = Level.MARK if every[row] <= mark_rate else Level.NONE
            judged.append(check.at(level, every[row]))
    return judged


def _adjusted_by_row(checks: Sequence[Check], can_reach: Level) -> dict[int, float]:
    p = {
        row: check.p
        for row, check in enumerate(checks)
        if check.p is not None and check.at_most >= can_reach
    }
    return dict(zip(p, adjusted(list(p.values())).tolist(), strict=True))
