"""Where scatter comes from: rig and line, the join as everyone ties it, one's own tying, sessions.

Straight line scatters by rig and line alone, so what a join scatters beyond its baseline is the
tie; what of that goes beyond the pool's ties is the tyer's own.  Variances are of ln(load), which
for the scatters met here is the squared coefficient of variation.  Intervals of sums and
differences of variances come from the intervals of the parts (MOVER: Zou & Donner 2008, Statistics
in Medicine 27:1693-1702; for variances Zou, Huo & Taleban 2009, Environmetrics 20:172).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewSets
from results.statistics.groups import grouped

MOST_FURTHER_PULLS = 500


@dataclass(frozen=True)
class Scatter:
    """A coefficient of variation (as a fraction) and the degrees of freedom that it rests on."""

    cv: float
    degrees_of_freedom: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.cv) and np.isfinite(self.degrees_of_freedom)):
            raise NotFinite("a scatter or its degrees of freedom is missing")
        if self.cv <= 0 or self.degrees_of_freedom <= 0:
            raise NotPositive(
                f"scatter {self.cv:g} on {self.degrees_of_freedom:g} degrees of freedom: "
                "both must be above zero"
            )


@dataclass(frozen=True)
class Component:
    """A variance of ln(load) with its interval; an estimate below zero stays as it came out."""

    variance: float
    low: float
    high: float

    @property
    def separated(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.low > 0 or self.high < 0

    @property
    def sd(self) -> float:
        """Root of the variance, 0 where it came out negative."""
        return float(np.sqrt(max(self.variance, 0.0)))


@dataclass(frozen=True)
class FurtherPulls:
    """How many more pulls of which kind would tell the tie's scatter from the rig's, as seen."""

    of_join: int
    of_straight_line: int


@dataclass(frozen=True)
class ScatterSplit:
    """Parts of one tester's scatter.

    ``rig_and_line`` from the baselines; ``tie`` what the join adds to it; ``join`` the same in the
    rest of the pool, that is what anyone's tie of it adds; ``tying`` is tie less join: above zero
    the ties are less even than the pool's.  ``further`` is None once the tie is separated from the
    rig, or where no number up to 500 would do.
    """

    rig_and_line: Component
    tie: Component
    join: Component
    tying: Component
    further: FurtherPulls | None


def variance_interval(
    variance: float, degrees_of_freedom: float, confidence: float
) -> tuple[float, float]:
    """Chi-square interval of a variance of normal values."""
    tail = (1.0 - confidence) / 2.0
    low = degrees_of_freedom * variance / float(chdtri(degrees_of_freedom, tail))
    return low, degrees_of_freedom * variance / float(chdtri(degrees_of_freedom, 1.0 - tail))


def combine(*signed: tuple[int, Scatter], confidence: float = 0.95) -> Component:
    """Sum of +1 or -1 times independent variances, with its MOVER interval."""
    estimate = below = above = 0.0
    for sign, scatter in signed:
        variance = scatter.cv**2
        low, high = variance_interval(variance, scatter.degrees_of_freedom, confidence)
        down, up = (variance - low, high - variance)
        if sign < 0:
            down, up = up, down
        estimate += sign * variance
        below += down**2
        above += up**2
    return Component(estimate, estimate - float(np.sqrt(below)), estimate + float(np.sqrt(above)))


def split_scatter(
    own_join: Scatter, own_baseline: Scatter, pool_join: Scatter, pool_baseline: Scatter
) -> ScatterSplit:
    """Split one tester's scatter, the pool's figures being those without this tester."""
    tie = combine((1, own_join), (-1, own_baseline))
    return ScatterSplit(
        rig_and_line=combine((1, own_baseline)),
        tie=tie,
        join=combine((1, pool_join), (-1, pool_baseline)),
        tying=combine((1, own_join), (-1, own_baseline), (-1, pool_join), (1, pool_baseline)),
        further=None if tie.separated else further_pulls(own_join, own_baseline),
    )


def further_pulls(join: Scatter, baseline: Scatter) -> FurtherPulls | None:
    """Fewest further pulls, of one kind or half of each, that would separate the two scatters.

    None where the join scatters no more than the line, or where 500 would not do at the scatters
    seen.
    """
    if join.cv <= baseline.cv:
        return None
    for pulls in range(1, MOST_FURTHER_PULLS + 1):
        for of_join in (pulls, 0, pulls // 2):
            more_join = Scatter(join.cv, join.degrees_of_freedom + of_join)
            more_baseline = Scatter(baseline.cv, baseline.degrees_of_freedom + pulls - of_join)
            if combine((1, more_join), (-1, more_baseline)).low > 0:
                return FurtherPulls(of_join, pulls - of_join)
    return None


def session_scatter(log_ratio: ArrayLike, variance: ArrayLike, join: ArrayLike) -> Component:
    """Session-to-session variance of one tester's log ratios (k,), one set of a join a session.

    The pooled variance of sets of the same join about their mean, less the mean of the sampling
    ``variance`` (k,), taken as known.  Raises `TooFewSets` unless a join was pulled in two
    sessions.
    """
    sets = grouped(log_ratio, join)
    sampling = np.asarray(variance, dtype=float)
    if sampling.shape != sets.values.shape:
        raise ShapeMismatch(f"{sets.total} log ratios come with {sampling.shape} variances")
    if sets.freedom_within < 1:
        raise TooFewSets("no join was pulled in two sessions: pull one again on another day")
    seen = float(((sets.sizes - 1) * sets.variances).sum()) / sets.freedom_within
    low, high = variance_interval(seen, sets.freedom_within, 0.95)
    known = float(sampling[(sets.sizes >= 2)[sets.index]].mean())
    return Component(seen - known, low - known, high - known)
