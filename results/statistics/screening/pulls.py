"""One pull that stands apart from its set: a mistyped reading looks so, and so does a bad tie."""

import numpy as np
from numpy.typing import ArrayLike

from results.statistics.outliers import grubbs, grubbs_critical
from results.statistics.screening.check import Check, Level

LEAST_PULLS = 3
ALPHA = 0.01
SOURCE = "Grubbs (1950, 1969), as ISO 5725-2 7.3.4, on log loads"


def outlying_pull(applies_to: str, loads_N: ArrayLike, alpha: float = ALPHA) -> Check | None:
    """Grubbs' test of exact loads (n,); None below three or where all are the same.

    A pull is never dropped for it: it marks.
    """
    loads = np.asarray(loads_N, dtype=float)
    if loads.size < LEAST_PULLS or np.ptp(loads) == 0:
        return None
    found = grubbs(np.log(loads))
    rest = np.delete(loads, found.index)
    return Check(
        "outlying pull",
        applies_to,
        found.statistic,
        grubbs_critical(loads.size, alpha),
        min(1.0, found.probability),
        Level.NONE,
        f"One pull at {loads[found.index]:.1f} N stands apart from the others, which lie from "
        f"{rest.min():.1f} to {rest.max():.1f} N.",
        SOURCE,
        at_most=Level.MARK,
        alpha=alpha,
    )
