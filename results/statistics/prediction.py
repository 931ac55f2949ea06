"""What to expect of a new tester: prediction interval and lower bound for the next pull.

Plug-in intervals mu -+ t sqrt(se^2 + tau2) treat tau2 as known; in pools of five to thirty testers
tau2 is often estimated near zero and they cover too little. Here the variance between testers is
averaged over its restricted likelihood times the reference prior of the random-effects model,
the root of the information of tau2 (Bodnar, Link, Arendacka, Possolo & Elster 2017, Statistics in
Medicine 36:378-399), the other components at their estimates. For three and four testers that
prior leaves too long a tail, and the interval is Student's t on testers - 1.

Coverage of a 95 percent interval and its half-width in units of the ideal 1.96 tau, t first, then
average, balanced worlds (2 sessions of 2 sets, sampling variance 0.0012 a set, sds of tester,
session, set), 300 runs each, coverage computed and not counted; Monte Carlo error 0.2 to 0.5:

    testers   0.01, 0.005, 0.005      0.03, 0.01, 0.01        0.08, 0.03, 0.03
    3         99.7 3.65  100.0 5.28   96.5 2.44  99.9 2.70    97.6 2.08  98.1 2.02
    5         96.6 2.18  100.0 2.92   93.3 1.51  97.6 1.60    95.6 1.40  95.4 1.36
    10        92.6 1.61   99.6 1.99   93.5 1.21  95.7 1.25    95.6 1.18  95.3 1.16

Unbalanced worlds, sds 0.045, 0.015, 0: 5 testers 93.3 and 95.6, 10 testers 93.4 and 94.2,
30 testers 93.8 and 94.0 (120, 120 and 60 runs).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from results.statistics.block_sums import TESTER
from results.statistics.components import At, Maximum
from results.statistics.errors import NotEstimable
from results.statistics.quantiles import t_quantile
from results.statistics.roots import root_between

Floats = NDArray[np.float64]

FEW_TESTERS = 4
POINTS = 32
LEAST_SHARE = 1e-4
LEAST_OF_END = 0.01
"""An estimate below this share of the interval's upper end is as good as zero: the grid, even in
logarithms, would lie where there is nothing."""


@dataclass(frozen=True)
class BetweenTesters:
    """Values of s2_tester with their weights; mu, its variance and the whole tau2 at each, (g,)."""

    weight: Floats
    mu: Floats
    variance: Floats
    tau2: Floats


def between_testers(at: At, best: Maximum, interval: tuple[float, float]) -> BetweenTesters:
    """Spread of s2_tester given the data, from its profile `interval` outwards.

    The grid is even in ln s2_tester and reaches beyond each end of the interval twice as far as
    the end lies from the estimate. Raises NotEstimable.
    """
    low, high = interval
    estimate = float(best.theta[TESTER])
    middle = max(estimate, LEAST_OF_END * high) if estimate > 0 else high / 10
    top = high * (high / middle) ** 2
    bottom = low * (low / middle) ** 2 if low > 0 else 0.0
    grid = np.geomspace(max(bottom, LEAST_SHARE * middle), top, POINTS)
    theta = np.tile(best.theta, (POINTS, 1))
    theta[:, TESTER] = grid
    found = at(theta)
    value = np.array([one.value for one in found])
    information = np.array([one.expected[TESTER, TESTER] for one in found])
    weight = np.exp(value - value.max()) * np.sqrt(np.maximum(information, 0)) * grid
    if not np.isfinite(weight).all() or weight.sum() <= 0:
        raise NotEstimable("how much testers differ can't be weighed by these sets")
    return BetweenTesters(
        weight / weight.sum(),
        np.array([one.beta[0] for one in found]),
        np.array([one.covariance[0, 0] for one in found]),
        theta.sum(axis=1),
    )


def prediction_by_t(best: Maximum, testers: int) -> tuple[float, float]:
    """The interval for few testers: Student's t on testers - 1, on the model's centre."""
    mu, variance = best.likelihood.beta[0], best.likelihood.covariance[0, 0]
    reach = t_quantile(0.975, testers - 1) * np.sqrt(variance + best.theta.sum())
    return float(mu - reach), float(mu + reach)


def prediction_interval(spread: BetweenTesters) -> tuple[float, float]:
    """95 percent interval for the true value of a new tester's next set, on the model's centre.

    Raises NoConvergence.
    """
    sd = np.sqrt(spread.variance + spread.tau2)
    return _quantile(spread.weight, spread.mu, sd, 0.025), _quantile(
        spread.weight, spread.mu, sd, 0.975
    )


def lower_bound(
    spread: BetweenTesters, pull_variance: float, coverage: float, confidence: float
) -> float:
    """Value that `coverage` of new testers' next pulls exceed, with `confidence`; model's centre.

    `pull_variance` is that of one pull within its set on the log scale (CV^2). A set's efficiency
    is that of its mean load, and the log of a lognormal pull lies pull_variance / 2 lower on
    average. The bound is the lower quantile of mu - pull_variance / 2 - z sqrt(tau2 +
    pull_variance) as mu and tau2 are spread. Raises NoConvergence.
    """
    z = ndtri(coverage)
    middle = spread.mu - pull_variance / 2 - z * np.sqrt(spread.tau2 + pull_variance)
    return _quantile(spread.weight, middle, np.sqrt(spread.variance), 1 - confidence)


def _quantile(weight: Floats, mean: Floats, sd: Floats, probability: float) -> float:
    """Quantile of a mixture of normal distributions."""
    low, high = float((mean - 40 * sd).min()), float((mean + 40 * sd).max())
    return root_between(
        lambda point: float(weight @ ndtr((point - mean) / sd)) - probability, low, high
    )
