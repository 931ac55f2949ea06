"""Sums of the restricted likelihood for errors of any covariance, given in dense blocks.

The definitions of block_sums written out, one factorisation a tester: the way to pool where a
sampling covariance is not the shared variance of a baseline, and the check on nested_errors.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.block_sums import BlockSums
from results.statistics.errors import NotPositiveDefinite, ShapeMismatch
from results.statistics.linear import inverse_and_log_determinant

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

ROUNDING = 1e-10


@dataclass(frozen=True)
class DenseErrors:
    """k sets; the T testers' rows and their sampling covariance blocks V_t (n_t, n_t).

    `session` (k,) are codes; `columns` (k, m) are [X, y].
    """

    rows: tuple[Codes, ...]
    covariance: tuple[Floats, ...]
    session: NDArray[np.int64]
    columns: Floats

    @property
    def sets(self) -> int:
        return int(self.columns.shape[0])

    @property
    def design(self) -> Floats:
        return self.columns[:, :-1]

    def totals(self, theta: Floats) -> BlockSums:
        return BlockSums.joined([self.by_tester(one).summed() for one in theta])

    def by_tester(self, theta: Floats) -> BlockSums:
        return BlockSums.stacked(
            [
                _sums(marginal[0], self._scatter(rows[0]), self.columns[rows[0]])
                for rows, marginal in self.blocks(theta)
            ]
        )

    def blocks(self, theta: Floats) -> Iterator[tuple[Codes, Floats]]:
        for rows, covariance in zip(self.rows, self.covariance, strict=True):
            yield rows[None], (covariance + np.tensordot(theta, self._scatter(rows), 1))[None]

    def _scatter(self, rows: Codes) -> Floats:
        """K_c of tester, session and set, (3, n, n)."""
        session = self.session[rows]
        same = (session[:, None] == session[None, :]).astype(np.float64)
        return np.stack((np.ones_like(same), same, np.eye(rows.size)))


def dense_errors(
    columns: ArrayLike,
    tester: ArrayLike,
    session: ArrayLike,
    covariance: Sequence[ArrayLike],
) -> DenseErrors:
    """Check and hold [X, y] (k, m), codes (k,) and one block V_t a tester, testers in code order.

    A block's rows are the tester's sets in the order given. Raises ShapeMismatch where a block
    does not fit its tester, NotPositiveDefinite where it is no covariance.
    """
    held = np.asarray(columns, dtype=np.float64)
    codes = np.unique(np.asarray(tester), return_inverse=True)[1]
    rows = tuple(np.flatnonzero(codes == code) for code in range(int(codes.max()) + 1))
    blocks = tuple(np.asarray(block, dtype=np.float64) for block in covariance)
    if len(blocks) != len(rows):
        raise ShapeMismatch(f"{len(rows)} testers, but {len(blocks)} covariance blocks")
    for code, (of_tester, block) in enumerate(zip(rows, blocks, strict=True)):
        if block.shape != (of_tester.size, of_tester.size):
            raise ShapeMismatch(f"block {code} is {block.shape} for {of_tester.size} sets")
        if np.abs(block - block.T).max() > ROUNDING * np.abs(block).max():
            raise NotPositiveDefinite(f"covariance block {code} is not symmetric")
        if np.linalg.eigvalsh(block)[0] <= 0:
            raise NotPositiveDefinite(f"covariance block {code} is not positive definite")
    return DenseErrors(rows, blocks, np.asarray(session, dtype=np.int64), held)


def _sums(marginal: Floats, scatter: Floats, u: Floats) -> BlockSums:
    inverse, log_determinant = inverse_and_log_determinant(marginal)
    solved = inverse @ u
    between = inverse @ scatter
    bend = np.einsum("ni,cnr,rs,dst,tj->cdij", solved, scatter, inverse, scatter, solved)
    return BlockSums(
        log_determinant,
        u.T @ solved,
        np.trace(between, axis1=1, axis2=2),
        solved.T @ scatter @ solved,
        np.einsum("cij,dji->cd", between, between),
        (bend + bend.transpose(0, 1, 3, 2)) / 2,
    )
