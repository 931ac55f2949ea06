"""Homogeneity and stability: are the samples of a ring test alike, and did they stay so?

ISO 13528:2022 annex B: homogeneity from repeats of each item (lengths of one spool), stability
from the means at start and end of a round; both against 0.3 of the standard deviation for
proficiency assessment.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues

SHARE_OF_SIGMA = 0.3


@dataclass(frozen=True)
class Homogeneity:
    """Mean, sd of item means, within-item sd, between-item sd, and the limit of the last."""

    mean: float
    s_x: float
    s_w: float
    s_s: float
    limit: float

    @property
    def homogeneous(self) -> bool:
        return self.s_s <= self.limit


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
    Raises TooFewValues (fewer than two items or repeats), NotFinite and NotPositive.
    """
    table = np.asarray(items, float)
    if table.ndim != 2 or min(table.shape) < 2:
        raise TooFewValues(f"found items of shape {table.shape}, expected two items of two repeats")
    if not np.isfinite(table).all():
        raise NotFinite("a repeat is not a finite number")
    between = float(table.mean(axis=1).var(ddof=1))
    within = float(table.var(axis=1, ddof=1).mean())
    items_themselves = max(0.0, between - within / table.shape[1])
    return Homogeneity(
        float(table.mean()), between**0.5, within**0.5, items_themselves**0.5, _limit(sigma_pt)
    )


def stability(mean_at_start: float, mean_at_end: float, sigma_pt: float) -> Stability:
    """Compare the means at start and end of a round (ISO 13528:2022, B.5). Raises NotPositive."""
    return Stability(abs(mean_at_start - mean_at_end), _limit(sigma_pt))


def _limit(sigma_pt: float) -> float:
    if not sigma_pt > 0:
        raise NotPositive(f"sigma for assessment: found {sigma_pt}, expected more than zero")
    return SHARE_OF_SIGMA * sigma_pt
