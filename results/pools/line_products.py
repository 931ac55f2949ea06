"""Which line products a pool's figure is for: those that were pulled, or others of the kind too."""

from __future__ import annotations

from typing import Any

import numpy as np

from results.pools.estimate import LINE_PRODUCT, Outcome
from results.pools.pool_data import Members
from results.statistics.crossed_factors import testers_of_levels

NAMED = 10
"""Products that are listed; of more, those with most testers."""


def line_products(members: Members, outcome: Outcome) -> dict[str, Any]:
    """The products pulled, most testers first, and whether the figure holds beyond them.

    ``for_others`` is true where what products differ by is in the figure's interval.
    """
    product = members.line_product
    levels, testers = testers_of_levels(product, members.tester)
    first = np.unique(product, return_index=True)[1]
    sets = np.bincount(product)
    order = np.lexsort((levels, -sets, -testers))[:NAMED]
    pooled = outcome.pooled
    return {
        "number": int(levels.size),
        "for_others": bool(pooled and LINE_PRODUCT in pooled.crossed),
        "products": [
            {
                "main_line": int(members.main_line[first[level]]),
                "leader_line": int(members.leader_line[first[level]]) or None,
                "sets": int(sets[level]),
                "testers": int(testers[level]),
            }
            for level in order.tolist()
        ],
    }
