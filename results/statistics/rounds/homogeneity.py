"""Homogeneity and stability: are the samples of a round alike, and did they stay so?

ISO 13528:2022 annex B: homogeneity from repeats of each item (lengths of one spool), stability
from the means at start and end of a round; both against 0.3 of the standard deviation for
proficiency assessment. The test that allows for how few items were pulled is Fearn & Thompson's
(2001, Analyst 126:1414-1417), in B.2.3 there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, fdtri

from results.statistics.errors import NotFinite, NotPositive, TooFewPulls

SHARE_OF_SIGMA = 0.3
LEAST_ITEMS = 10


@dataclass(frozen=True)
class Homogeneity:
    """Mean, sd of item means, within-item sd, between-item sd, and the limits of the last.

    ``expanded_limit`` is what the between-item sd of so few items exceeds in one of twenty spools
    whose true one is at the ``limit``.
    """

    items: int
    mean: float
    s_x: float
    s_w: float
    s_s: float
    limit: float
    expanded_limit: float

    @property
    def homogeneous(self) -> bool:
        return self.s_s <= self.limit

    @property
    def not_disproved(self) -> bool:
        """Whether so few items leave it open that the spool is homogeneous."""
        return self.s_s <= self.expanded_limit


@dataclass(frozen=True)
class Stability:
    """Absolute difference of start and end, and its limit."""

    difference: float
    limit: float

    @property
    def stable(self) -> bool:
        return self.difference <= self.limit


def homogeneity(items: ArrayLike, sigma_pt: float) -> Homogeneity:
    """From g items with m repeats each, an array (g, m); `sigma_pt` in the same unit.

    s_w pools the variances within items, s_s^2 = max(0, s_x^2 - s_w^2/m) (ISO 13528:2022, B.3).
    Raises TooFewPulls (fewer than two items or repeats), NotFinite and NotPositive.
    """
    table = np.asarray(items, float)
    if table.ndim != 2 or min(table.shape) < 2:
        raise TooFewPulls(f"found items of shape {table.shape}, expected two items of two repeats")
    if not np.isfinite(table).all():
        raise NotFinite("a repeat is not a finite number")
    g, m = table.shape
    between = float(table.mean(axis=1).var(ddof=1))
    within = float(table.var(axis=1, ddof=1).mean())
    limit = _limit(sigma_pt)
    first, second = expanding_factors(g, m)
    return Homogeneity(
        items=g,
        mean=float(table.mean()),
        s_x=between**0.5,
        s_w=within**0.5,
        s_s=max(0.0, between - within / m) ** 0.5,
        limit=limit,
        expanded_limit=(first * limit**2 + second * within) ** 0.5,
    )


def expanding_factors(items: int, repeats: int) -> tuple[float, float]:
    """F1 on the allowed variance and F2 on s_w^2: chi2/(g - 1) and (F - 1)/m at 95 percent.

    Fearn & Thompson have two repeats. Raises TooFewPulls.
    """
    if min(items, repeats) < 2:
        raise TooFewPulls(f"found {items} items of {repeats}, expected two of two repeats")
    freedom = items - 1
    first = float(chdtri(freedom, 0.05)) / freedom
    return first, (float(fdtri(freedom, items * (repeats - 1), 0.95)) - 1.0) / repeats


def stability(mean_at_start: float, mean_at_end: float, sigma_pt: float) -> Stability:
    """Compare the means at start and end of a round (ISO 13528:2022, B.5). Raises NotPositive."""
    return Stability(abs(mean_at_start - mean_at_end), _limit(sigma_pt))


def _limit(sigma_pt: float) -> float:
    if not sigma_pt > 0:
        raise NotPositive(f"sigma for assessment: found {sigma_pt}, expected more than zero")
    return SHARE_OF_SIGMA * sigma_pt
