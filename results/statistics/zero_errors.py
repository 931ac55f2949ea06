"""Errors that the zero of a scale brings into all sets of one calibration.

A zero that is off by d newtons moves the log ratio of a set by (1/mean_join - 1/mean_baseline) d,
to first order: sets of one calibration move together, each by its own amount and with its own sign.
In units of the zero's standard uncertainty that is a column z with M = B + z z', B being what the
tree of testers, sessions, baselines and sets gives. One column a calibration, added one after the
other by the formula of Sherman & Morrison (1950), Annals of Mathematical Statistics 21:124-127:
with h = 1 / (1 + z'B^-1 z), a = U'B^-1 z, and L that takes a row of z'B^-1 U times h from z,

    ln|M| = ln|B| - ln h,   U'M^-1 U = U'B^-1 U - h a a',
    W'M^-1 K_c M^-1 W = L' (W'B^-1 K_c B^-1 W) L,
    tr(M^-1 K_c) = tr(B^-1 K_c) - h z'B^-1 K_c B^-1 z.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import BlockSums
from results.statistics.nested_sums import LARGEST, NestedSums
from results.statistics.nesting import Codes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ZeroSums:
    """Sums of the columns of `tree` but the last `zeros`, which are errors of scales.

    As `NestedSums`, and in place of one.
    """

    tree: NestedSums
    zeros: int

    def totals(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3), but one `left_out` (g,) of each."""
        size = max(LARGEST // (self.tree.own_variance.size * self.tree.columns.shape[1]), 1)
        parts = []
        for first in range(0, theta.shape[0], size):
            some = theta[first : first + size]
            out = None if left_out is None else left_out[first : first + size]
            parts.append(_over_testers(self.each_tester(some, out), some.shape[0]))
        return BlockSums.joined(parts)

    def by_tester(self, theta: Floats) -> BlockSums:
        """One term a tester (T,) at one theta (3,)."""
        return self.each_tester(theta[None], None)

    def each_tester(self, theta: Floats, left_out: Codes | None) -> BlockSums:
        """One term a tester and theta (g, 3), first axis T * g, nothing of one `left_out` (g,)."""
        return with_errors(self.tree.each_tester(theta, left_out), self.zeros)


def with_errors(sums: BlockSums, errors: int) -> BlockSums:
    """The sums of all columns but the last `errors`, each of variance one in M then."""
    # The sums lie along the last axis meanwhile: arrays of two by two are slow to go through.
    turned = BlockSums(
        *(np.ascontiguousarray(np.moveaxis(term, 0, -1)) for term in vars(sums).values())
    )
    for _ in range(errors):
        turned = _with_error(turned)
    return BlockSums(*(np.moveaxis(term, -1, 0) for term in vars(turned).values()))


def _with_error(sums: BlockSums) -> BlockSums:
    """Without the last column, whose error M then has; the sums lie along the last axis."""
    h = 1 / (1 + sums.cross[-1, -1])
    a, cross = sums.cross[:-1, -1], sums.cross[:-1, :-1]
    shrunken = h * a
    slope, towards, of_error = (
        sums.slope[:, :-1, :-1],
        sums.slope[:, :-1, -1],
        sums.slope[:, -1, -1],
    )
    bend, bent, of_pair = (
        sums.bend[:, :, :-1, :-1],
        sums.bend[:, :, :-1, -1],
        sums.bend[:, :, -1, -1],
    )
    into = towards - of_error[:, None] * shrunken
    bends = np.empty_like(bend)
    for c in range(3):
        for d in range(c, 3):
            bends[c, d] = (
                bend[c, d]
                - _both(bent[c, d] - of_pair[c, d] / 2 * shrunken, shrunken)
                - _both(h / 2 * into[c], into[d])
            )
            bends[d, c] = bends[c, d]
    return BlockSums(
        sums.log_determinant - np.log(h),
        cross - shrunken[:, None] * a,
        sums.trace - h * of_error,
        np.stack(
            [slope[c] - _both(towards[c] - of_error[c] / 2 * shrunken, shrunken) for c in range(3)]
        ),
        sums.trace_of_pair - 2 * h * of_pair + h**2 * of_error[:, None] * of_error,
        bends,
    )


def shared_errors(zero: Floats, scale: Codes, tester: Codes) -> tuple[Floats, Floats]:
    """What scales add to the variance of single sets (k,), and their columns, (k, c).

    An error that one set alone has counts with that set's own. `scale` and `tester` are codes from
    0, and each tester's scales take the columns from the first on.
    """
    sets = np.bincount(scale, zero != 0)
    alone = sets[scale] < 2
    rows = np.flatnonzero(~alone & (zero != 0))
    columns = np.zeros((zero.size, 0))
    for place in _places(scale[rows], tester[rows]):
        column = np.zeros((zero.size, 1))
        column[rows[place], 0] = zero[rows[place]]
        columns = np.concatenate((columns, column), axis=1)
    return np.where(alone, zero**2, 0.0), columns


def _places(scale: Codes, tester: Codes) -> Iterator[Codes]:
    """Rows of the first scale of each tester, of the second, and so on."""
    pairs, of_row = np.unique(np.stack((tester, scale)), axis=1, return_inverse=True)
    order = np.arange(pairs.shape[1]) - np.searchsorted(pairs[0], pairs[0])
    of_row = order[of_row.ravel()]
    for number in range(int(order.max(initial=-1)) + 1):
        yield np.flatnonzero(of_row == number)


def _over_testers(each: BlockSums, thetas: int) -> BlockSums:
    """Sums over testers (g,) of terms (T * g,)."""
    return BlockSums(
        *(term.reshape(-1, thetas, *term.shape[1:]).sum(axis=0) for term in vars(each).values())
    )


def _both(left: Floats, right: Floats) -> Floats:
    """left right' with its transpose, of (m, n) and (m, n)."""
    product = left[:, None] * right
    return np.asarray(product + product.swapaxes(0, 1))
