"""Which clubs' rounds a pool's sets are from: their participants pull from the same spools."""

from __future__ import annotations

from typing import Any

import numpy as np

from results.pools.estimate import CLUB_ROUND, Outcome
from results.pools.pool_data import Members
from results.statistics.crossed_factors import testers_of_levels

NAMED = 10
"""Rounds that are listed; of more, those with most testers."""


def club_rounds(members: Members, outcome: Outcome) -> dict[str, Any]:
    """The rounds that sets were pulled in, most testers first, and whether the figure goes beyond.

    ``for_others`` is true where what rounds differ by is in the figure's interval.
    """
    level = members.level_of_round
    levels, testers = testers_of_levels(level, members.tester)
    sets = np.array([(level == one).sum() for one in levels], dtype=np.int64)
    order = np.lexsort((levels, -sets, -testers))[:NAMED]
    pooled = outcome.pooled
    return {
        "number": int(levels.size),
        "sets": int(sets.sum()),
        "for_others": bool(pooled and CLUB_ROUND in pooled.crossed),
        "rounds": [
            {
                "round": int(levels[place]),
                "sets": int(sets[place]),
                "testers": int(testers[place]),
            }
            for place in order.tolist()
        ],
    }
