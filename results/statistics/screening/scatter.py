"""Scatter that is too small to be true, scatter above everyone else's, and a pull far off its set.

The coefficient of variation of sets on a log-normal strength follows, nearly, CV^2 df/true CV^2 ~
chi-square(df); sums over sets are again chi-square ('t Lam 2010, Analytica Chimica Acta 659:68-84,
for Cochran's test two-sided; Simonsohn 2013, Psychological Science 24:1875, for means and SDs too
alike).
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import chi2
from scipy.stats import f as fisher

from results.statistics.screening.check import Check, Level

LEAST_SHARE = 0.5
"""A practised tyer on a good rig may show half the usual scatter: good joins have a CV of 4 to 8
percent, ordinary ones 8 to 12 (common practice, no source)."""

LEAST_FREEDOM = 4.0
ALPHA = 0.001
LITTLE = "'t Lam (2010); Simonsohn (2013); half the usual scatter: common practice, no source"
COCHRAN = "ISO 5725-2, Cochran's test, as an F test for unequal numbers ('t Lam 2010)"


def too_little_scatter(
    applies_to: str,
    cv: ArrayLike,
    degrees_of_freedom: ArrayLike,
    usual_cv: ArrayLike,
    relative_resolution: ArrayLike,
    least_share: float = LEAST_SHARE,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether sets (k,) scatter less than ``least_share`` of the usual CV allows, added over sets.

    ``relative_resolution`` is the scale's step over the mean load: a CV is not believed below
    step/sqrt(12). None with fewer than four degrees of freedom.
    """
    own, freedom = np.asarray(cv, dtype=float), np.asarray(degrees_of_freedom, dtype=float)
    usual, step = np.asarray(usual_cv, dtype=float), np.asarray(relative_resolution, dtype=float)
    total = float(freedom.sum())
    if total < LEAST_FREEDOM:
        return None
    believed = np.maximum(own**2, step**2 / 12)
    statistic = float((freedom * believed / (least_share * usual) ** 2).sum())
    shown = float(np.sqrt((freedom * own**2).sum() / total))
    expected = float(np.sqrt((freedom * usual**2).sum() / total))
    limit = least_share * expected * float(np.sqrt(chi2.ppf(alpha, total) / total))
    return Check(
        "too little scatter",
        applies_to,
        shown,
        limit,
        float(chi2.cdf(statistic, total)),
        Level.NONE,
        f"The pulls differ by {100 * shown:.1f} percent among themselves; in other people's hands "
        f"such pulls differ by {100 * expected:.1f} percent.",
        LITTLE,
        alpha=alpha,
    )


def more_scatter(
    applies_to: str,
    cv: float,
    degrees_of_freedom: float,
    others_cv: float,
    others_degrees_of_freedom: float,
    sets: int,
    alpha: float = 0.01,
) -> Check | None:
    """Whether a set scatters more than the other sets of its pool; ``sets`` counts them all.

    Mandel's k against the others, p by F, times the number of sets as in Cochran's test, which
    picks the largest. Uneven tying is honest, so it only marks. None without other sets.
    """
    if others_degrees_of_freedom <= 0 or others_cv <= 0 or degrees_of_freedom <= 0:
        return None
    k = cv / others_cv
    limit = fisher.isf(alpha / sets, degrees_of_freedom, others_degrees_of_freedom)
    p = sets * float(fisher.sf(k**2, degrees_of_freedom, others_degrees_of_freedom))
    return Check(
        "more scatter than the pool",
        applies_to,
        k,
        float(np.sqrt(limit)),
        min(1.0, p),
        Level.NONE,
        f"These pulls differ by {100 * cv:.1f} percent among themselves, {k:.1f} times as much as "
        f"the other sets of this join. Uneven tying does this, and so does one mistyped reading.",
        COCHRAN,
        at_most=Level.MARK,
        alpha=alpha,
    )
