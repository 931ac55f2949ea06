"""Order of pulls: a trend from first to last, and neighbours that follow each other.

Mann (1945), Econometrica 13:245, and Kendall: S counts rising less falling pairs, exact for ten
pulls or fewer without ties, else normal with continuity and ties corrected (USEPA 2009, Unified
Guidance, 17.3). Von Neumann (1941), Annals of Mathematical Statistics 12:367: the mean squared
successive difference over the variance, about 2 without serial correlation.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import kendalltau, norm

from results.statistics.screening.check import Check, Level

LEAST_FOR_TREND = 5
LEAST_FOR_SERIAL = 10
MOST_EXACT = 10
ALPHA = 0.01
KENDALL = "Mann (1945), Kendall; USEPA (2009), Unified Guidance, 17.3"
NEUMANN = "von Neumann (1941), mean successive difference"


@cache
def _permutations_by_inversions(n: int) -> tuple[int, ...]:
    """How many orders of n different values have each number of inversions."""
    counts = [1]
    for size in range(2, n + 1):
        wider = [0] * (len(counts) + size - 1)
        for inversions, count in enumerate(counts):
            for more in range(size):
                wider[inversions + more] += count
        counts = wider
    return tuple(counts)


def mann_kendall(y: ArrayLike) -> tuple[int, float]:
    """S and its two-sided p value, for values (n,) in the order they came, in O(n log n).

    S is tau-b times what it is divided by, which is exact to far more pulls than a set has.
    """
    values = np.asarray(y, dtype=float)
    n = values.size
    _, ties = np.unique(values, return_counts=True)
    pairs, tied = n * (n - 1) / 2, float((ties * (ties - 1) / 2).sum())
    tau_b = float(kendalltau(np.arange(n), values).statistic) if 0 <= tied < pairs else 0.0
    s = round(tau_b * math.sqrt(pairs) * math.sqrt(pairs - tied))
    if n <= MOST_EXACT and (ties == 1).all():
        counts = _permutations_by_inversions(n)
        fewest = (n * (n - 1) // 2 - abs(s)) // 2
        return s, min(1.0, 2 * sum(counts[: fewest + 1]) / math.factorial(n))
    variance = (n * (n - 1) * (2 * n + 5) - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18
    if variance <= 0:
        return s, 1.0
    return s, 2 * float(norm.sf(max(abs(s) - 1, 0) / math.sqrt(variance)))


def von_neumann(y: ArrayLike) -> tuple[float, float]:
    """Ratio of mean squared successive difference to variance, and z, positive for a drift."""
    values = np.asarray(y, dtype=float)
    n = values.size
    ratio = float((np.diff(values) ** 2).mean() / values.var(ddof=1))
    return ratio, (1 - ratio / 2) * math.sqrt((n**2 - 1) / (n - 2))


def order_trend(applies_to: str, loads: ArrayLike, alpha: float = ALPHA) -> Check | None:
    """Whether loads rise or fall in the order they were pulled; None below five pulls."""
    values = np.asarray(loads, dtype=float)
    n = values.size
    if n < LEAST_FOR_TREND:
        return None
    s, p = mann_kendall(values)
    pairs = n * (n - 1) / 2
    rises = "rise" if s > 0 else "fall"
    return Check(
        "order trend",
        applies_to,
        s / pairs,
        _tau_limit(n, alpha),
        p,
        Level.NONE,
        f"From the first pull to the last the loads {rises}: {(pairs + abs(s)) / 2:.0f} of "
        f"{pairs:.0f} pairs go that way. A warming rig, a tiring line or growing practice do this.",
        KENDALL,
        at_most=Level.MARK,
        alpha=alpha,
    )


def _tau_limit(n: int, alpha: float) -> float:
    variance = n * (n - 1) * (2 * n + 5) / 18
    return min(1.0, float(norm.isf(alpha / 2)) * math.sqrt(variance) / (n * (n - 1) / 2))


def serial_correlation(applies_to: str, loads: ArrayLike, alpha: float = ALPHA) -> Check | None:
    """Whether neighbouring pulls are alike; None below ten pulls or where all are the same."""
    values = np.asarray(loads, dtype=float)
    if values.size < LEAST_FOR_SERIAL or values.std() <= 0:
        return None
    ratio, z = von_neumann(values)
    n = values.size
    return Check(
        "serial correlation",
        applies_to,
        ratio,
        2 * (1 - float(norm.isf(alpha)) / math.sqrt((n**2 - 1) / (n - 2))),
        float(norm.sf(z)),
        Level.NONE,
        f"Neighbouring pulls differ by {ratio:.1f} of what was expected to be about 2: each pull "
        "resembles the one before, as when something carries over.",
        NEUMANN,
        at_most=Level.MARK,
        alpha=alpha,
    )
