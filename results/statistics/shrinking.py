"""One's own value drawn toward the pool, the variances between and within testers being uncertain.

Given the variances, the value is the best linear unbiased predictor (Henderson 1975, Biometrics
31:423). With three or four other testers the variance between them, or that from session to
session, is often estimated as zero, and an interval that takes that as known covers half of what
it promises. Here both are averaged over their restricted likelihood and a prior: their roots are
half-t on 4 degrees of freedom (Gelman 2006, Bayesian Analysis 1:515-534), with a scale of 0.1
between testers and 0.05 within. One's own sets weigh along.

Coverage of a 95 percent interval with the variances as known, and here, and widths on the log
scale; in brackets coverage where the variance between testers is estimated as zero. Testers from t
on 4 degrees of freedom, sds of tester, session and set 0.04, 0.02, 0.01 unless said, 1 to 4
sessions, 3 to 8 pulls; 300 runs, Monte Carlo error 0.9 to 2.1 (in brackets 1 to 7):

    other testers        as known                uncertain
    3                    89.7 0.165 (68.8)       95.7 0.109 (90.6)
    3, sd 0.015          89.7 0.130 (80.5)       97.3 0.098 (97.5)
    4                    85.0 0.119 (48.1)       95.7 0.102 (92.4)
    4, normal testers    86.3 0.126 (50.8)       96.0 0.107 (95.4)
    4, sd 0.1            92.7 0.159              97.3 0.124
    5                    93.7 0.119 (86.1)       93.7 0.102 (92.4)
    9                    92.7 0.097 (67.6)       93.3 0.093 (78.4)
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import LEVELS, SESSION, TESTER
from results.statistics.comparison import LARGEST_LOG, OwnMean
from results.statistics.errors import NotEstimable, ShapeMismatch
from results.statistics.pool_fit import PoolFit
from results.statistics.prediction import BETWEEN_SCALE, log_half_t, variance_grid
from results.statistics.quantiles import mixture_quantile

Floats = NDArray[np.float64]

WITHIN_SCALE = 0.05
"""Of the standard deviation from session to session and set to set, on the log scale."""
BETWEEN_POINTS, WITHIN_POINTS = 24, 12


@dataclass(frozen=True)
class LikelyVariances:
    """A pool at w variances within testers times b between them.

    `within` (w, 2) are those of sessions and of sets, `between` (b,); `log_weight`, `mu` and
    `variance` of mu by the model are (w, b), the weights up to a constant.
    """

    within: Floats
    between: Floats
    log_weight: Floats
    mu: Floats
    variance: Floats


@dataclass(frozen=True)
class Shrunken:
    """Own efficiency drawn toward the pool by `weight` of own evidence, 0 to 1; 95 percent."""

    value: float
    low: float
    high: float
    weight: float


def likely_variances(fit: PoolFit) -> LikelyVariances:
    """The variances of a pool with their weights, from its fit.

    Sessions and sets share the variance within testers as they do at the estimates; all of it is
    of sessions, where they are fitted, if the estimates are zero. What line products and the like
    differ by stays at its estimate. Raises StatisticsError.
    """
    theta, crossed = fit.best.theta[: len(LEVELS)], fit.best.theta[len(LEVELS) :]
    between = variance_grid(float(theta[TESTER]), fit.interval(TESTER), BETWEEN_POINTS)
    levels = [level for level in range(SESSION, len(LEVELS)) if fit.fitted[level]]
    split, within, prior = np.zeros(2), np.zeros(1), np.zeros(1)
    if levels:
        total = float(theta[levels].sum())
        split = theta[SESSION:] / total if total > 0 else np.eye(2)[levels[0] - SESSION]
        low, high = np.sum([fit.interval(level) for level in levels], axis=0).tolist()
        within = variance_grid(total, (low, high), WITHIN_POINTS)
        prior = log_half_t(within, WITHIN_SCALE)
    parts = np.outer(within, split)
    rest = [np.tile(np.concatenate((part, crossed)), (between.size, 1)) for part in parts]
    found = [fit.at(np.column_stack((between, each))) for each in rest]
    value = np.array([[one.value for one in row] for row in found])
    return LikelyVariances(
        within=parts,
        between=between,
        log_weight=value + log_half_t(between, BETWEEN_SCALE) + prior[:, None],
        mu=fit.centre + np.array([[one.beta[0] for one in row] for row in found]),
        variance=np.array([[one.covariance[0, 0] for one in row] for row in found]),
    )


def shrunken_value(others: LikelyVariances, own: Sequence[OwnMean]) -> Shrunken:
    """One's own value from one's own mean at each of `others.within`, (w,).

    Raises ShapeMismatch, NoConvergence, and NotEstimable where the value goes beyond all numbers.
    """
    if len(own) != others.within.shape[0]:
        raise ShapeMismatch("own means must be given for every variance within testers")
    mean = np.array([one.log_ratio for one in own])[:, None]
    error = np.array([one.variance for one in own])[:, None]
    prior = others.variance + others.between
    whole = prior + error
    log_weight = others.log_weight - np.log(whole) / 2 - (mean - others.mu) ** 2 / whole / 2
    chance = np.exp(log_weight - log_weight.max())
    chance = (chance / chance.sum()).ravel()
    share = prior / whole
    value = (others.mu + share * (mean - others.mu)).ravel()
    sd = np.sqrt(share * error).ravel()
    if not np.isfinite([chance, value, sd]).all():
        raise NotEstimable("how far one's own value is drawn to the pool can't be weighed")
    ends = [mixture_quantile(chance, value, sd, probability) for probability in (0.025, 0.975)]
    if not max(map(abs, ends)) < LARGEST_LOG:
        raise NotEstimable("the sets leave one's own value open by any factor")
    return Shrunken(
        value=float(np.exp(chance @ value)),
        low=float(np.exp(ends[0])),
        high=float(np.exp(ends[1])),
        weight=float(chance @ share.ravel()),
    )
