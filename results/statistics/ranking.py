"""Ranks that carry their uncertainty, and groups of joins that don't differ significantly."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigh
from scipy.stats import norm, qmc
from scipy.stats import t as student_t

from results.statistics.errors import ShapeMismatch, TooFewSets
from results.statistics.multiplicity import holm

Floats = NDArray[np.float64]

DRAWS_LOG2 = 14
SEED = 1


@dataclass(frozen=True)
class Ranking:
    """Each array (J,): P-score, probability of being the best, and of being among the best two.

    A P-score is the mean certainty of being better than another join (Ruecker & Schwarzer 2015,
    BMC Medical Research Methodology 15:58): 1 for certainly best, 1/2 for no knowledge.
    """

    p_score: Floats
    best: Floats
    best_two: Floats


def rank(estimate: ArrayLike, covariance: ArrayLike) -> Ranking:
    """Ranks of J estimates (larger is better) with covariance (J, J), normal.

    Raises ShapeMismatch, and TooFewSets for fewer than two joins.
    """
    theta, sigma = _checked(estimate, covariance)
    certainty = norm.cdf(_distance(theta, sigma))
    np.fill_diagonal(certainty, 0)
    values, vectors = eigh(sigma)
    root = vectors * np.sqrt(np.maximum(values, 0))
    uniform = qmc.Sobol(theta.size, seed=SEED).random_base2(DRAWS_LOG2)
    drawn = theta + norm.ppf(np.clip(uniform, 1e-12, 1 - 1e-12)) @ root.T
    place = np.argsort(np.argsort(-drawn, axis=1), axis=1)
    return Ranking(
        certainty.sum(axis=1) / (theta.size - 1),
        (place == 0).mean(axis=0),
        (place <= 1).mean(axis=0),
    )


def groups(
    estimate: ArrayLike, covariance: ArrayLike, df: ArrayLike
) -> tuple[tuple[int, ...], ...]:
    """Largest groups of joins no two of which differ, best group first; a join may be in several.

    Pairs are tested by t with `df` degrees of freedom (scalar, or (J, J) by pair) and Holm's
    adjustment at 5 percent; groups by insertion and absorption (Piepho 2004, J. Computational and
    Graphical Statistics 13:456-466). Raises as `rank`.
    """
    theta, sigma = _checked(estimate, covariance)
    freedom = np.broadcast_to(np.asarray(df, dtype=np.float64), sigma.shape)
    upper = np.triu_indices(theta.size, 1)
    p = 2 * student_t.sf(np.abs(_distance(theta, sigma)[upper]), freedom[upper])
    found: list[frozenset[int]] = [frozenset(range(theta.size))]
    for i, j in np.column_stack(upper)[holm(p) <= 0.05]:
        split = [part for group in found for part in _parted(group, int(i), int(j))]
        found = [part for part in split if not any(part < other for other in split)]
        found = list(dict.fromkeys(found))
    ordered = (tuple(sorted(group, key=lambda join: -theta[join])) for group in found)
    return tuple(sorted(ordered, key=lambda group: [-theta[join] for join in group]))


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
    """(theta_i - theta_j) / standard error of the difference, (J, J), zero on the diagonal."""
    variance = np.diag(sigma)[:, None] + np.diag(sigma)[None, :] - 2 * sigma
    np.fill_diagonal(variance, 1)
    return np.asarray((theta[:, None] - theta[None, :]) / np.sqrt(variance))
