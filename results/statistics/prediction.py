"""What to expect of a new tester: prediction interval and lower bound for the next pull.

Plug-in intervals mu -+ t sqrt(se^2 + tau2) treat tau2 as known; in pools of five to thirty testers
tau2 is often estimated near zero and they cover too little. Here the variance between testers is
averaged over its restricted likelihood times the reference prior of the random-effects model,
the root of the information of tau2 (Bodnar, Link, Arendacka, Possolo & Elster 2017, Statistics in
Medicine 36:378-399), the other components at their estimates. For three and four testers that
prior leaves too long a tail; there the square root of the variance is half-t on 4 degrees of
freedom with a scale of 0.1, about the usual scatter between testers (Gelman 2006, Bayesian Analysis
1:515-534; Roever et al. 2021, Research Synthesis Methods 12:448-474).

Coverage of a 95 percent interval by Student's t on testers - 1 with tau2 as estimated, and by the
average, and their widths; in brackets coverage where the estimate of tau2 is zero. Testers from t
on 4 degrees of freedom, sds of tester, session and set 0.04, 0.02, 0.01 unless said, 1 to 4
sessions, 3 to 8 pulls; 300 runs, Monte Carlo error 0.1 to 0.9 (in brackets 0.2 to 2.5):

    testers              plug-in t               average
    3                    95.7 0.426 (89.1)       99.0 0.367 (98.1)
    3, sd 0.015          97.8 0.282 (96.2)       99.9 0.300 (99.9)
    4                    92.1 0.284 (78.2)       97.3 0.294 (93.2)
    4, normal testers    92.4 0.294 (79.4)       97.7 0.300 (94.2)
    4, sd 0.1            93.1 0.620              93.6 0.498
    5                                            96.2 0.275 (91.6)
    9                                            94.2 0.216 (86.7)
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from results.statistics.block_sums import TESTER
from results.statistics.components import At, Maximum
from results.statistics.errors import NotEstimable
from results.statistics.quantiles import mixture_quantile
from results.statistics.weibull_pulls import weibull_quantile

Floats = NDArray[np.float64]

FEW_TESTERS = 4
POINTS = 32
BETWEEN_SCALE = 0.1
"""Of the standard deviation between testers on the log scale, for three and four testers."""
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


def variance_grid(estimate: float, interval: tuple[float, float], points: int) -> Floats:
    """Values of a variance, even in its logarithm, `points` of them.

    They reach beyond each end of its profile `interval` twice as far as the end lies from the
    estimate. Raises NotEstimable where the interval has no upper end.
    """
    low, high = interval
    if not 0 < high < np.inf:
        raise NotEstimable("a variance has no upper end, so that it can't be weighed")
    middle = max(estimate, LEAST_OF_END * high) if estimate > 0 else high / 10
    top = high * (high / middle) ** 2
    bottom = low * (low / middle) ** 2 if low > 0 else 0.0
    return np.geomspace(max(bottom, LEAST_SHARE * middle), top, points)


def log_half_t(variance: Floats, scale: float) -> Floats:
    """Log density of ln(variance) if its root is half-t on 4 degrees of freedom, but a constant."""
    freedom, root = 4.0, np.sqrt(variance)
    fall = (freedom + 1) / 2 * np.log1p((root / scale) ** 2 / freedom)
    return np.asarray(np.log(root) - fall)


def between_testers(
    at: At, best: Maximum, interval: tuple[float, float], testers: int
) -> BetweenTesters:
    """Spread of s2_tester given the data, on a grid about its profile `interval`.

    Raises NotEstimable.
    """
    grid = variance_grid(float(best.theta[TESTER]), interval, POINTS)
    theta = np.tile(best.theta, (POINTS, 1))
    theta[:, TESTER] = grid
    found = at(theta)
    value = np.array([one.value for one in found])
    if testers <= FEW_TESTERS:
        value = value + log_half_t(grid, BETWEEN_SCALE)
        weight = np.exp(value - value.max())
    else:
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


def prediction_interval(spread: BetweenTesters) -> tuple[float, float]:
    """95 percent interval for the true value of a new tester's next set, on the model's centre.

    Raises NoConvergence.
    """
    sd = np.sqrt(spread.variance + spread.tau2)
    return mixture_quantile(spread.weight, spread.mu, sd, 0.025), mixture_quantile(
        spread.weight, spread.mu, sd, 0.975
    )


def mean_interval(spread: BetweenTesters) -> tuple[float, float]:
    """95 percent interval of mu as it is spread, on the model's centre. Raises NoConvergence."""
    sd = np.sqrt(spread.variance)
    return mixture_quantile(spread.weight, spread.mu, sd, 0.025), mixture_quantile(
        spread.weight, spread.mu, sd, 0.975
    )


def lower_bound(
    spread: BetweenTesters, pull_variance: float, coverage: float, confidence: float
) -> float:
    """Value that `coverage` of new testers' next pulls exceed, with `confidence`; model's centre.

    `pull_variance` is CV^2 of the pulls within a set; a set's efficiency is that of its mean load.
    At each mu and tau2 the pull is the lower of two, as pulls are lognormal and as they are
    Weibull. The first lies at mu - pull_variance / 2 - z sqrt(tau2 + pull_variance), since the log
    of a lognormal pull is pull_variance / 2 lower on average. The bound is the lower quantile of
    these as mu and tau2 are spread. Raises NotPositive and NoConvergence.

    The share of bounds with 95 percent confidence that held, if pulls are lognormal as far as the
    bound knows, and here (testers from t on 4 degrees of freedom, 400 runs, error 0.8 to 1.7), and
    how far below the truth they lie in percent:

        pulls        testers    lognormal    here
        Weibull      10         94.0 4.1     95.0 4.5
        Weibull      30         87.5 1.7     94.3 2.1
        lognormal    10         97.3 4.6     99.0 5.0
        lognormal    30         94.3 2.2     97.3 2.5
    """
    z, pull_sd = ndtri(coverage), np.sqrt(pull_variance)
    lognormal = spread.mu - pull_variance / 2 - z * np.sqrt(spread.tau2 + pull_variance)
    weibull = weibull_quantile(spread.mu, spread.tau2, float(pull_sd), 1 - coverage)
    middle = np.minimum(lognormal, weibull)
    return mixture_quantile(spread.weight, middle, np.sqrt(spread.variance), 1 - confidence)
