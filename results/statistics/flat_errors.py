"""Sums of the restricted likelihood for testers whose sessions hold one set each, at many thetas.

Sessions of one set make session and set one level, and most testers of a large pool are like that.
Within a tester M = D + s2_tester 1 1' with D diagonal, so that with w = 1/diag(D), Q = 1'w,
s = 1 + s2_tester Q and kappa = s2_tester/s the formula of Sherman & Morrison (1950), Annals of
Mathematical Statistics 21:124-127, gives M^-1 = diag(w) - kappa w w', and every sum of `block_sums`
follows from the tester's sums of w^p and w^p u, p = 1, 2, 3. A tester of one set has M = one
number, and its sums are the same for every level.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER, BlockSums

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class FlatErrors:
    """n sets of some testers, rows lying by tester: `variance` (n,) of sampling, `columns` (n, m).

    The first column is ones. `tester` (n,) holds the testers' codes, and rows of one belong
    together.
    """

    variance: Floats
    columns: Floats
    tester: Codes

    def totals(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3), but `left_out` (g,), first axis g."""
        several = self._several
        return self._singles(~several, theta, left_out).plus(
            self._of_several(several, theta, left_out)
        )

    @cached_property
    def _several(self) -> Booleans:
        """Rows of testers with several sets."""
        before = self.tester[1:] == self.tester[:-1]
        return np.concatenate(([False], before)) | np.concatenate((before, [False]))

    @cached_property
    def _products(self) -> Floats:
        """u u' of each row, its upper triangle (n, q)."""
        row, column = np.triu_indices(self.columns.shape[1])
        return np.ascontiguousarray(self.columns[:, row] * self.columns[:, column])

    def _weights(
        self, rows: Booleans, scatter: Floats, left_out: Codes | None
    ) -> tuple[Floats, Floats]:
        """w^p (3, g, n) of rows with M or D = variance + scatter (g,), and ln|M| or ln|D| (g,)."""
        marginal = self.variance[rows] + scatter[:, None]
        log, w = np.log(marginal), 1 / marginal
        if left_out is not None:
            kept = self.tester[rows] != left_out[:, None]
            log, w = log * kept, w * kept
        square = w * w
        return np.stack((w, square, square * w)), log.sum(axis=1)

    def _quadratic(self, rows: Booleans, powers: Floats) -> Floats:
        """U' diag(w^p) U, (3, g, m, m)."""
        size = self.columns.shape[1]
        row, column = np.triu_indices(size)
        summed = powers.reshape(-1, powers.shape[2]) @ self._products[rows]
        found = np.empty((*powers.shape[:2], size, size))
        found[:, :, row, column] = found[:, :, column, row] = summed.reshape(*powers.shape[:2], -1)
        return found

    def _singles(self, rows: Booleans, theta: Floats, left_out: Codes | None) -> BlockSums:
        if not rows.any():
            return BlockSums.nothing(theta.shape[0], self.columns.shape[1])
        powers, log = self._weights(rows, theta.sum(axis=1), left_out)
        once, twice, thrice = self._quadratic(rows, powers)
        g, size = once.shape[:2]
        return BlockSums(
            log,
            once,
            np.repeat(once[:, 0, :1], 3, axis=1),
            np.broadcast_to(twice[:, None], (g, 3, size, size)),
            np.broadcast_to(twice[:, :1, :1], (g, 3, 3)),
            np.broadcast_to(thrice[:, None, None], (g, 3, 3, size, size)),
        )

    def _of_several(self, rows: Booleans, theta: Floats, left_out: Codes | None) -> BlockSums:
        g, size = theta.shape[0], self.columns.shape[1]
        if not rows.any():
            return BlockSums.nothing(g, size)
        powers, log = self._weights(rows, theta[:, SESSION] + theta[:, SET], left_out)
        once, twice, thrice = self._quadratic(rows, powers)
        tester = self.tester[rows]
        starts = np.flatnonzero(np.concatenate(([True], tester[1:] != tester[:-1])))
        # A tester left out has w = 0, and adds nothing to any of these.
        g1, g2, g3 = np.add.reduceat(powers[:, :, None] * self.columns[rows].T, starts, axis=-1)
        a1, a2, a3 = g1[:, 0], g2[:, 0], g3[:, 0]
        s = 1 + theta[:, TESTER, None] * a1
        kappa = theta[:, TESTER, None] / s
        rest = g2 - (kappa * a2)[:, None] * g1
        trace = np.empty((g, 3))
        trace[:, TESTER] = (a1 / s).sum(axis=1)
        trace[:, SESSION] = trace[:, SET] = (a1 - kappa * a2).sum(axis=1)
        slope = np.empty((g, 3, size, size))
        slope[:, TESTER] = _outer(1 / s**2, g1, g1)
        slope[:, SESSION] = slope[:, SET] = (
            twice - _both(_outer(kappa, g2, g1)) + _outer(kappa**2 * a2, g1, g1)
        )
        pair, bend = np.empty((g, 3, 3)), np.empty((g, 3, 3, size, size))
        for level in (SESSION, SET):
            pair[:, TESTER, level] = pair[:, level, TESTER] = (a2 / s**2).sum(axis=1)
            crossed = _both(_outer(0.5 / s**2, g1, rest))
            bend[:, TESTER, level] = bend[:, level, TESTER] = crossed
        pair[:, TESTER, TESTER] = ((a1 / s) ** 2).sum(axis=1)
        bend[:, TESTER, TESTER] = _outer(a1 / s**3, g1, g1)
        pair[:, 1:, 1:] = (a2 - 2 * kappa * a3 + (kappa * a2) ** 2).sum(axis=1)[:, None, None]
        bend[:, 1:, 1:] = (
            thrice
            - _both(_outer(kappa, g3, g1))
            + _outer(kappa**2 * a3, g1, g1)
            - _outer(kappa, rest, rest)
        )[:, None, None]
        cross = once - _outer(kappa, g1, g1)
        # The first column is ones, and 1'M^-1 u is g1 / s without a difference.
        cross[:, 0] = cross[:, :, 0] = (g1 / s[:, None]).sum(axis=2)
        return BlockSums(
            log + np.log(s).sum(axis=1),
            cross,
            trace,
            slope,
            pair,
            bend,
        )


def _outer(weight: Floats, u: Floats, v: Floats) -> Floats:
    """Sum over testers of weight u v', from (g, T), (g, m, T) and (g, m, T)."""
    return np.asarray((weight[:, None] * u) @ v.transpose(0, 2, 1))


def _both(matrices: Floats) -> Floats:
    """Each with its transpose."""
    return np.asarray(matrices + matrices.transpose(0, 2, 1))
