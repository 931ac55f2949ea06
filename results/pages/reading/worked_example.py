"""The worked example of the about page: one pool of the demo league, computed step by step.

A doubled Palomar in braid to a hook: four sets of three testers. Readings are quernstone's, in
kgf, and their calibration's offset and gain; means in newtons and scatters are the four sets'.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from results.statistics.censored import Strength, strength
from results.statistics.efficiency import Efficiency, efficiency
from results.statistics.pool_fit import fit_pool
from results.statistics.pooling import Pooled, pooled
from results.statistics.ratio import (
    corrected_log_ratio,
    pooled_coefficient_of_variation,
    relative_variance,
)
from results.statistics.tolerance import CONFIDENCE, NINE_IN_TEN
from rigs.metrology.units import FORCE_UNITS

JOINED_KGF = (8.3, 6.9, 8.0, 8.6, 7.4)
STRAIGHT_KGF = (11.6, 10.9, 10.8, 11.0, 10.7, 10.2)
OFFSET_N, GAIN = -0.4550798, 0.9028923
RESOLUTION_KGF = 0.1

TESTERS = ("quernstone", "marram", "marram", "coldharbour")
MEANS_N, CVS = (85.657, 84.030, 79.916, 88.322), (0.08721, 0.06443, 0.02270, 0.09623)
PULLS = (5.0, 7.0, 7.0, 5.0)
STRAIGHT_N, STRAIGHT_CVS = (
    (118.531, 112.198, 105.189, 116.127),
    (0.04166, 0.05158, 0.04288, 0.04364),
)
STRAIGHT_PULLS = (6.0, 13.004, 14.0, 6.0)


@dataclass(frozen=True)
class ExampleRow:
    """One set of the example."""

    tester: str
    join_N: float
    straight_N: float
    efficiency: float


@dataclass(frozen=True)
class WorkedExample:
    """The set of one tester, the four sets, and their pool."""

    join: Strength
    straight: Strength
    efficiency: Efficiency
    rows: tuple[ExampleRow, ...]
    cv_join: float
    cv_straight: float
    pool: Pooled
    held_by_nine: float

    @property
    def pooled(self) -> float:
        """The pooled efficiency as a ratio; so are the ends below."""
        return math.exp(self.pool.mu)

    @property
    def interval(self) -> tuple[float, float]:
        return math.exp(self.pool.ci_low), math.exp(self.pool.ci_high)

    @property
    def prediction(self) -> tuple[float, float]:
        return math.exp(self.pool.prediction_low), math.exp(self.pool.prediction_high)

    @property
    def tau_tester(self) -> float:
        return math.sqrt(self.pool.tau2_tester)


@cache
def worked_example() -> WorkedExample:
    """Worked out once a process, by the functions that work out every set and pool."""
    join, straight = _strength(JOINED_KGF), _strength(STRAIGHT_KGF)
    n, m = np.array(PULLS), np.array(STRAIGHT_PULLS)
    cv_join = pooled_coefficient_of_variation(CVS, n - 1)
    cv_straight = pooled_coefficient_of_variation(STRAIGHT_CVS, m - 1)
    ratios = corrected_log_ratio(
        MEANS_N, STRAIGHT_N, relative_variance(cv_join, n), relative_variance(cv_straight, m)
    )
    tester = np.unique(TESTERS, return_inverse=True)[1]
    each = np.arange(len(TESTERS))
    fit = fit_pool(ratios.y, ratios.own_variance, ratios.shared_variance, tester, each, each)
    efficiencies = np.exp(ratios.y).tolist()
    rows = (
        ExampleRow(*values)
        for values in zip(TESTERS, MEANS_N, STRAIGHT_N, efficiencies, strict=True)
    )
    return WorkedExample(
        join=join,
        straight=straight,
        efficiency=efficiency(join, straight),
        rows=tuple(rows),
        cv_join=cv_join,
        cv_straight=cv_straight,
        pool=pooled(fit),
        held_by_nine=math.exp(fit.lower_bound(cv_join**2, NINE_IN_TEN, CONFIDENCE)),
    )


def _strength(readings_kgf: tuple[float, ...]) -> Strength:
    kgf = FORCE_UNITS["kgf"]
    loads_N = (np.array(readings_kgf) * kgf - OFFSET_N) / GAIN
    return strength(loads_N, np.zeros(loads_N.size, dtype=bool), RESOLUTION_KGF * kgf / GAIN)
