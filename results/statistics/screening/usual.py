"""What is usual among testers, so that no one of them can move it: medians and robust scales.

A mean of squares follows its largest member, and one account with random readings then makes
everyone else look too even. A median over testers stands still until half of them are wrong.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotFinite, TooFewPulls

MEDIAN_DEVIATION_TO_SD = 1.4826
FEW = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
"""By number of values what the median deviation of so few still falls short by: Croux & Rousseeuw
1992, Computational Statistics 1:411-428; beyond nine it is n/(n - 0.8)."""

LEAST_TESTERS = 3

USUAL_SD = 0.08
USUAL_FREEDOM = 4.0
"""Scatter between testers on the log scale, 0.05 to 0.1, and what that is worth in degrees of
freedom: three testers alone say next to nothing of it (common practice, no source)."""


@dataclass(frozen=True)
class Usual:
    """Centre of the testers' values, and sd and degrees of freedom of a new tester's around it.

    ``sd`` has the centre's own uncertainty in it.
    """

    centre: float
    sd: float
    degrees_of_freedom: float
    testers: int


def median_deviation_sd(values: ArrayLike) -> float:
    """Standard deviation of values (k,) by their median deviation. Raises TooFewPulls below two."""
    x = _finite(values)
    if x.size < 2:
        raise TooFewPulls(f"{x.size} value: a scatter needs at least 2")
    factor = FEW.get(x.size, x.size / (x.size - 0.8))
    return factor * MEDIAN_DEVIATION_TO_SD * float(np.median(np.abs(x - np.median(x))))


def usual_among(
    values: ArrayLike, usual_sd: float = USUAL_SD, usual_freedom: float = USUAL_FREEDOM
) -> Usual:
    """What a new tester's value should be, by those of k testers: one each, on the log scale.

    Their scatter is weighed with what is usual elsewhere, as variances with an inverse chi-square
    prior are (Smyth 2004). The median's variance is pi/2 that of a mean. Raises TooFewPulls below
    two testers.
    """
    x = _finite(values)
    own_freedom = x.size - 1.0
    squares = own_freedom * median_deviation_sd(x) ** 2 + usual_freedom * usual_sd**2
    freedom = own_freedom + usual_freedom
    sd = float(np.sqrt(squares / freedom * (1 + np.pi / 2 / x.size)))
    return Usual(float(np.median(x)), sd, freedom, x.size)


def usual_cv(cv: ArrayLike, degrees_of_freedom: ArrayLike, tester: ArrayLike) -> float | None:
    """The middle tester's coefficient of variation, by sets (k,); of two, the steadier one's.

    Each tester's sets are pooled by their degrees of freedom first. None where none has any.
    """
    own, freedom = np.asarray(cv, dtype=float), np.asarray(degrees_of_freedom, dtype=float)
    _, number = np.unique(np.asarray(tester), return_inverse=True)
    weight = np.bincount(number, freedom)
    squares = np.bincount(number, freedom * own**2)[weight > 0] / weight[weight > 0]
    if not squares.size:
        return None
    return float(np.sqrt(np.sort(squares)[(squares.size - 1) // 2]))


def by_tester(values: ArrayLike, tester: ArrayLike) -> NDArray[np.float64]:
    """Mean of the values (k,) of each tester (m,)."""
    _, number = np.unique(np.asarray(tester), return_inverse=True)
    return np.asarray(
        np.bincount(number, np.asarray(values, dtype=float)) / np.bincount(number), dtype=np.float64
    )


def _finite(values: ArrayLike) -> NDArray[np.float64]:
    x = np.asarray(values, dtype=float).ravel()
    if not np.isfinite(x).all():
        raise NotFinite("a value is missing, not a number or infinite")
    return x
