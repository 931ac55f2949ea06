"""Estimate a pool from its sets' columns: no queries, nothing stored."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from results.pools.pool_data import LogRatios, Members, log_ratios
from results.statistics.errors import StatisticsError, TooFewTesters
from results.statistics.joint_means import TesterScores, scores_by_tester
from results.statistics.leave_one_out import LeaveOneOut
from results.statistics.pool_fit import LEAST_TESTERS, PoolFit, fit_pool
from results.statistics.pooling import Pooled, TesterEffects, pooled
from results.statistics.tolerance import CONFIDENCE, NINE_IN_TEN

Rows = TypeVar("Rows", TesterEffects, LeaveOneOut)

LINE_PRODUCT = "line_product"
"""The factor of both lines together, as figures name it."""
CLUB_ROUND = "club_round"
"""The factor of the round, whose participants pull from the same spools, likewise."""


def efficiency_of(log_efficiency: float) -> float | None:
    """The efficiency of a log ratio; None if unknown or beyond the range of floats."""
    try:
        found = math.exp(log_efficiency)
    except OverflowError:
        return None
    return found if math.isfinite(found) else None


@dataclass(frozen=True)
class Outcome:
    """The estimate of a pool: a pooled figure and its fit, or why there is none."""

    ratios: LogRatios | None
    pooled: Pooled | None
    no_figure: str = ""
    fit: PoolFit | None = None

    @property
    def held_by_nine(self) -> float | None:
        """Share of straight line that nine in ten of new testers' next ties hold at least.

        None where it can't be computed.
        """
        if self.fit is None or self.ratios is None:
            return None
        try:
            bound = self.fit.lower_bound(self.ratios.cv_join**2, NINE_IN_TEN, CONFIDENCE)
        except StatisticsError:
            return None
        return efficiency_of(bound)


@dataclass(frozen=True)
class Fit:
    """What pooling expects of a new tester's next set, on the log scale, and nothing more.

    A small part of an outcome's cost. ``between`` is the variance between testers, sessions and
    sets together.
    """

    ratios: LogRatios
    mu: float
    se: float
    between: float
    testers: int


def pooled_from(members: Members) -> Outcome:
    """Pool the members, or say why they can't be pooled."""
    try:
        ratios = log_ratios(members)
    except StatisticsError as error:
        return Outcome(None, None, str(error))
    try:
        fit = _fit_pool(members, ratios)
        return Outcome(ratios, _of_testers(pooled(fit)), fit=fit)
    except StatisticsError as error:
        return Outcome(ratios, None, str(error))


def fit_from(members: Members) -> Fit | None:
    """The fit alone; None if the members can't be pooled."""
    try:
        ratios = log_ratios(members)
        fitted = _fit_pool(members, ratios)
    except StatisticsError:
        return None
    likelihood = fitted.best.likelihood
    return Fit(
        ratios=ratios,
        mu=fitted.centre + float(likelihood.beta[0]),
        se=math.sqrt(float(likelihood.covariance[0, 0])),
        between=float(fitted.best.theta.sum()),
        testers=fitted.model.nesting.testers.size,
    )


def scores_from(members: Members) -> TesterScores | None:
    """Each tester's part in the error of the mean; None if the members can't be pooled."""
    try:
        return scores_by_tester(_fit_pool(members, log_ratios(members)))
    except StatisticsError:
        return None


def _fit_pool(members: Members, ratios: LogRatios) -> PoolFit:
    testers, tyers = np.unique(members.tester).size, members.tyers
    if testers < LEAST_TESTERS:
        raise TooFewTesters(f"a pooled figure needs {LEAST_TESTERS} testers; there are {testers}")
    return fit_pool(
        ratios.y,
        ratios.own_variance,
        ratios.shared_variance,
        tyers.tyer,
        tyers.session,
        tyers.baseline,
        crossed={LINE_PRODUCT: members.line_product, CLUB_ROUND: members.level_of_round},
        zero=members.errors,
        scale=tyers.scale,
    )


def _of_testers(pooled: Pooled) -> Pooled:
    """Without rows of those who tied for a tester: they have no account to show them under."""
    effects, left_out = pooled.tester_effects, pooled.leave_one_out
    if (effects.tester > 0).all():
        return pooled
    return replace(
        pooled,
        tester_effects=_rows(effects, effects.tester > 0),
        leave_one_out=left_out and _rows(left_out, left_out.tester > 0),
    )


def _rows(columns: Rows, kept: NDArray[np.bool_]) -> Rows:
    return replace(columns, **{name: column[kept] for name, column in vars(columns).items()})
