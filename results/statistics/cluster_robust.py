"""Cluster-robust variance of regression coefficients, testers as clusters.

Sources: Liang & Zeger (1986), Biometrika 73:13-22 (CR0); Bell & McCaffrey (2002), Survey
Methodology 28:169-181 (CR2, Satterthwaite degrees of freedom); Pustejovsky & Tipton (2018),
J. Business & Economic Statistics 36:672-683 (CR2 in its Cholesky form; CR3).

With W = M^-1, C = (X'WX)^-1 and an adjustment A_t of each cluster,

    V = C ( sum X_t'W_t A_t e_t e_t'A_t'W_t X_t ) C.

CR0: A = I. CR1: CR0 times m/(m-1). CR3: A = (I - X C X'W)^-1. CR2: A = D'B^(-1/2) D with D the
upper Cholesky factor of M and B = D (M - X C X') D', the root being the symmetric Moore-Penrose
one. Degrees of freedom are Satterthwaite's under the working model M.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from results.statistics.linear import root_and_solved, solved

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Form = Literal["CR0", "CR1", "CR2", "CR3"]

RANK_TOLERANCE = 1e-10
LARGEST = 2**18  # entries of the largest array: clusters at once times p times q


@dataclass(frozen=True)
class ClusterRobust:
    """Covariance (q, q) of the combinations and the degrees of freedom of each (q,).

    Freedom is not a number where a combination rests on rows that the fit goes through.
    """

    covariance: Floats
    degrees_of_freedom: Floats

    @property
    def standard_error(self) -> Floats:
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def cluster_robust(
    blocks: Iterable[tuple[Rows, Floats]],
    design: Floats,
    residual: Floats,
    covariance: Floats,
    form: Form = "CR2",
    combinations: Floats | None = None,
) -> ClusterRobust:
    """Robust variance from marginal covariance blocks, clusters of one size stacked.

    `blocks` yields row numbers (c, n) and M (c, n, n) of c clusters of n rows each; `design` X is
    (k, p), `residual` (k,) is y - X beta, `covariance` is the model's C (p, p). `combinations`
    (q, p) of the coefficients are wanted; without it, the coefficients themselves.
    """
    p = design.shape[1]
    wanted = np.eye(p) if combinations is None else combinations
    q = wanted.shape[0]
    meat, crossed = np.zeros((p, p)), np.zeros((q, p, p))
    trace, square = np.zeros(q), np.zeros(q)
    clusters = 0
    for rows, marginal in _in_slices(blocks, max(LARGEST // (p * q), 1)):
        clusters += rows.shape[0]
        x = design[rows]
        adjusted = _adjusted(form, marginal, x, covariance)
        score = np.einsum("cnp,cn->cp", adjusted, residual[rows])
        meat += score.T @ score
        lever = adjusted @ covariance @ wanted.T
        alpha = np.einsum("cnq,cnq->cq", lever, marginal @ lever)
        h = lever.transpose(0, 2, 1) @ x
        h_c_h = np.einsum("cqp,cqp->cq", h @ covariance, h)
        trace += (alpha - h_c_h).sum(axis=0)
        square += (alpha**2 - 2 * alpha * h_c_h).sum(axis=0)
        crossed += np.einsum("cqi,cqj->qij", h, h)
    spread = covariance @ crossed
    square += np.einsum("qij,qji->q", spread, spread)
    if form == "CR1":
        meat *= clusters / (clusters - 1)
    bread = wanted @ covariance
    freedom = np.divide(trace**2, square, out=np.full(q, np.nan), where=square > 0)
    return ClusterRobust(bread @ meat @ bread.T, freedom)


def _in_slices(
    blocks: Iterable[tuple[Rows, Floats]], clusters: int
) -> Iterator[tuple[Rows, Floats]]:
    for rows, marginal in blocks:
        for first in range(0, rows.shape[0], clusters):
            yield rows[first : first + clusters], marginal[first : first + clusters]


def _adjusted(form: Form, marginal: Floats, x: Floats, covariance: Floats) -> Floats:
    """A'W X of each cluster, (c, n, p)."""
    if form in ("CR0", "CR1"):
        return solved(marginal, x)
    fitted = x @ covariance @ x.transpose(0, 2, 1)
    if form == "CR3":
        leverage = solved(marginal, fitted)
        return solved(np.eye(x.shape[1]) - leverage, solved(marginal, x))
    # Any root L L' = M serves: with another, D and B turn alike and A stays the same.
    lower, half = root_and_solved(marginal, x)
    values, vectors = np.linalg.eigh(lower.transpose(0, 2, 1) @ (marginal - fitted) @ lower)
    kept = values > RANK_TOLERANCE * values[:, -1:]
    root = np.where(kept, 1 / np.sqrt(np.where(kept, values, 1)), 0)
    turned = root[:, :, None] * (vectors.transpose(0, 2, 1) @ half)
    return np.asarray(lower @ (vectors @ turned))
