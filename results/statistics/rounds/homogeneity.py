"""Homogeneity and stability: are the samples of a round alike, and did they stay so?

ISO 13528:2022 annex B: homogeneity from repeats of each item (lengths of one spool), stability
from the means at start and end of a round; both against 0.3 of the standard deviation for
proficiency assessment. The test that allows for how few items were pulled is Fearn & Thompson's
(2001, Analyst 126:1414-1417), in B.2.3 there.
"""

from collections.abc import Sequence
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


def homogeneity(items: Sequence[ArrayLike], sigma_pt: float) -> Homogeneity:
    """From g items, each an array (m,) of its repeats; `sigma_pt` in the same unit.

    s_w pools the variances within items, s_s^2 = max(0, s_x^2 - s_w^2/m) (ISO 13528:2022, B.3).
    Where items have unequally many repeats, the mean squares are those of a one-way analysis of
    variance, and m is n_0 = (N - sum(m_i^2)/N)/(g - 1) (Searle, Casella & McCulloch 1992, Variance
    Components, 3.6; from memory). Raises TooFewPulls (fewer than two items, none with two repeats),
    NotFinite and NotPositive.
    """
    repeats = [np.atleast_1d(np.asarray(item, float)) for item in items]
    sizes = np.array([item.size for item in repeats])
    g, total = len(repeats), int(sizes.sum())
    if g < 2 or sizes.min() < 1 or total == g or any(item.ndim != 1 for item in repeats):
        raise TooFewPulls(f"found {g} items of {sizes.tolist()}, expected two, one with repeats")
    every = np.concatenate(repeats)
    if not np.isfinite(every).all():
        raise NotFinite("a repeat is not a finite number")
    means = np.array([item.mean() for item in repeats])
    per_item = float((total - (sizes**2).sum() / total) / (g - 1))
    between = float((sizes * (means - every.mean()) ** 2).sum()) / (g - 1) / per_item
    within = sum(float(((item - item.mean()) ** 2).sum()) for item in repeats) / (total - g)
    limit = _limit(sigma_pt)
    first, second = _factors(g, total - g, per_item)
    return Homogeneity(
        items=g,
        mean=float(every.mean()),
        s_x=between**0.5,
        s_w=within**0.5,
        s_s=max(0.0, between - within / per_item) ** 0.5,
        limit=limit,
        expanded_limit=(first * limit**2 + second * within) ** 0.5,
    )


def expanding_factors(items: int, repeats: int) -> tuple[float, float]:
    """F1 on the allowed variance and F2 on s_w^2: chi2/(g - 1) and (F - 1)/m at 95 percent.

    Fearn & Thompson have two repeats. Raises TooFewPulls.
    """
    if min(items, repeats) < 2:
        raise TooFewPulls(f"found {items} items of {repeats}, expected two of two repeats")
    return _factors(items, items * (repeats - 1), repeats)


def _factors(items: int, freedom_within: int, per_item: float) -> tuple[float, float]:
    freedom = items - 1
    first = float(chdtri(freedom, 0.05)) / freedom
    return first, (float(fdtri(freedom, freedom_within, 0.95)) - 1.0) / per_item


def stability(mean_at_start: float, mean_at_end: float, sigma_pt: float) -> Stability:
    """Compare the means at start and end of a round (ISO 13528:2022, B.5). Raises NotPositive."""
    return Stability(abs(mean_at_start - mean_at_end), _limit(sigma_pt))


def _limit(sigma_pt: float) -> float:
    if not sigma_pt > 0:
        raise NotPositive(f"sigma for assessment: found {sigma_pt}, expected more than zero")
    return SHARE_OF_SIGMA * sigma_pt
