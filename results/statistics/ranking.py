"""Ranks that carry their uncertainty, and groups of joins that don't differ significantly."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigh
from scipy.stats import chi2, norm, qmc

from results.statistics.errors import NotEstimable, NotFinite, ShapeMismatch, TooFewSets
from results.statistics.linear import inverse
from results.statistics.prediction import log_half_t

Floats = NDArray[np.float64]

DRAWS_LOG2 = 9
SEED = 1
JOINS_SCALE = 0.1
"""Of the standard deviation of joins' true values on the log scale."""
SCALES, SPREADS = 8, 12
LEAST_SPREAD = 0.04
NEGLIGIBLE = 1e-4
LEAST_ERROR = 1e-12
"""Of a difference of logs: below it only rounding tells joins apart."""


@dataclass(frozen=True)
class Ranking:
    """Each array (J,): P-score, probability of being the best, and of being among the best two.

    A P-score is the mean certainty of being better than another join (Ruecker & Schwarzer 2015,
    BMC Medical Research Methodology 15:58): 1 for certainly best, 1/2 for no knowledge.
    """

    p_score: Floats
    best: Floats
    best_two: Floats


def rank(estimate: ArrayLike, covariance: ArrayLike, df: float = np.inf) -> Ranking:
    """Ranks of J estimates (larger is better) with covariance (J, J) known to `df`.

    The highest of several estimates is on average too high, and the more so the more alike the
    joins are. So their true values are normal about a common mean with a standard deviation that
    is half-t with a scale of 0.1 (Gelman 2006, Bayesian Analysis 1:515-534), over which the ranks
    are averaged, as over the scale of the covariance.

    Of five joins that all testers tied, with `joint_means`, the chance said of the likeliest less
    how often it was the best (testers from t on 4 degrees of freedom; 250 runs each, Monte Carlo
    error 0.01 to 0.03), by joins' spread and the share of a tester's effect that all joins have:

        testers    0.08, half    0.08, all    0.03, all    0.03, none
        3          -0.03         -0.02        -0.11        +0.01
        5          -0.02         -0.01        -0.08        -0.02
        10         -0.01         -0.01         0.00        -0.04

    Normal draws of independent estimates: -0.11 to +0.10.

    Raises ShapeMismatch, NotFinite, NotEstimable, and TooFewSets for fewer than two joins.
    """
    theta, sigma = _checked(estimate, covariance)
    if not (np.isfinite(theta).all() and np.isfinite(sigma).all() and df > 0):
        raise NotFinite("an estimate, its covariance or its degrees of freedom are missing")
    uniform = qmc.Sobol(theta.size, seed=SEED).random_base2(DRAWS_LOG2)
    normal = norm.ppf(np.clip(uniform, 1e-12, 1 - 1e-12))
    ranked = np.zeros((3, theta.size))
    for weight, mean, spread in _likely(theta, sigma, df):
        certainty = norm.cdf(_distance(mean, spread))
        np.fill_diagonal(certainty, 0)
        values, vectors = eigh(spread)
        drawn = mean + normal @ (vectors * np.sqrt(np.maximum(values, 0))).T
        place = np.argsort(np.argsort(-drawn, axis=1), axis=1)
        better = certainty.sum(axis=1) / (theta.size - 1)
        ranked += weight * np.stack((better, (place == 0).mean(0), (place <= 1).mean(0)))
    return Ranking(*ranked)


def _likely(theta: Floats, sigma: Floats, df: float) -> Iterator[tuple[float, Floats, Floats]]:
    """Weights, and mean (J,) and covariance (J, J) of the true values, over scale and spread."""
    levels = (np.arange(SCALES) + 0.5) / SCALES
    scales = df / chi2.ppf(levels, df) if np.isfinite(df) else np.ones(1)
    size = max(float(np.ptp(theta)), JOINS_SCALE)
    found = [
        _given(theta, scale * sigma, spread)
        for scale in scales.tolist()
        for spread in np.geomspace(LEAST_SPREAD * JOINS_SCALE, 6 * size, SPREADS).tolist()
    ]
    evidence = np.array([one[0] for one in found])
    if not np.isfinite(evidence).all():
        raise NotEstimable("the joins' errors differ too much for their ranks to be weighed")
    weight = np.exp(evidence - evidence.max())
    weight = np.where(weight > NEGLIGIBLE, weight, 0) / weight[weight > NEGLIGIBLE].sum()
    for share, (_, mean, covariance) in zip(weight, found, strict=True):
        if share > 0:
            yield float(share), mean, covariance


def _given(theta: Floats, sigma: Floats, spread: float) -> tuple[float, Floats, Floats]:
    """Log weight, and the true values' mean and covariance, at one spread of the joins."""
    between = spread**2 * np.eye(theta.size)
    whole = sigma + between
    precision = inverse(whole)
    sums = precision.sum(axis=1)
    variance = 1 / float(sums.sum())
    away = theta - variance * float(sums @ theta)
    misfit = float(away @ precision @ away)
    evidence = (np.log(variance) - np.linalg.slogdet(whole)[1] - misfit) / 2
    open_to = 1 - spread**2 * sums
    return (
        float(evidence + log_half_t(np.array(spread**2), JOINS_SCALE)),
        theta - away + spread**2 * precision @ away,
        between - spread**4 * precision + variance * np.outer(open_to, open_to),
    )


def groups(apart: ArrayLike) -> tuple[tuple[int, ...], ...]:
    """Largest groups of joins no two of which are separated; a join may be in several.

    `apart` (J, J) is symmetric, the joins in order, best first. The best group comes first, its
    joins in order. Two joins share a group exactly where they are not separated: insertion and
    absorption (Piepho 2004, J. Computational and Graphical Statistics 13:456-466). Raises
    ShapeMismatch.
    """
    matrix = np.asarray(apart, dtype=bool)
    if matrix.ndim != 2 or not np.array_equal(matrix, matrix.T):
        raise ShapeMismatch("which joins are separated needs a symmetric matrix (J, J)")
    found: list[frozenset[int]] = [frozenset(range(len(matrix)))]
    for i, j in np.argwhere(np.triu(matrix, 1)).tolist():
        split = [part for group in found for part in _parted(group, i, j)]
        found = [part for part in split if not any(part < other for other in split)]
        found = list(dict.fromkeys(found))
    return tuple(sorted(tuple(sorted(group)) for group in found))


def _parted(group: frozenset[int], i: int, j: int) -> list[frozenset[int]]:
    return [group - {i}, group - {j}] if {i, j} <= group else [group]


def _checked(estimate: ArrayLike, covariance: ArrayLike) -> tuple[Floats, Floats]:
    theta, sigma = np.asarray(estimate, np.float64), np.asarray(covariance, np.float64)
    if theta.ndim != 1 or sigma.shape != (theta.size, theta.size):
        raise ShapeMismatch("estimates (J,) need a covariance (J, J)")
    if theta.size < 2:
        raise TooFewSets("ranking needs two joins")
    return theta, sigma


def _distance(theta: Floats, sigma: Floats) -> Floats:
    """(theta_i - theta_j) / standard error of the difference, (J, J), zero on the diagonal.

    Of joins that are known to the last digit a difference may come out with a variance below zero.
    """
    variance = np.diag(sigma)[:, None] + np.diag(sigma)[None, :] - sigma - sigma.T
    error = np.sqrt(np.maximum(variance, LEAST_ERROR**2))
    return np.asarray((theta[:, None] - theta[None, :]) / error)
