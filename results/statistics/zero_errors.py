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

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import BlockSums
from results.statistics.nested_sums import LARGEST, Beside, NestedSums
from results.statistics.nesting import Codes

Floats = NDArray[np.float64]
Collect = Callable[[Floats, Floats], Floats]


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
            own, beside = self.tree.totals_beside(some, out, self.zeros)
            parts.append(_with_errors(own, beside, partial(_in_total, some.shape[0])))
        return BlockSums.joined(parts)

    def by_tester(self, theta: Floats) -> BlockSums:
        """One term a tester (T,) at one theta (3,)."""
        return self.each_tester(theta[None], None)

    def each_tester(self, theta: Floats, left_out: Codes | None) -> BlockSums:
        """One term a tester and theta (g, 3), first axis T * g, nothing of one `left_out` (g,)."""
        return with_errors(self.tree.each_tester(theta, left_out), self.zeros)


def with_errors(sums: BlockSums, errors: int) -> BlockSums:
    """The sums of all columns but the last `errors`, each of variance one in M then."""
    products = (sums.cross, sums.slope, sums.bend)
    beside = Beside(*(each[..., -errors:] for each in products))
    own = BlockSums(
        sums.log_determinant,
        sums.cross[..., :-errors, :-errors],
        sums.trace,
        sums.slope[..., :-errors, :-errors],
        sums.trace_of_pair,
        sums.bend[..., :-errors, :-errors],
    )
    return _with_errors(own, beside, _by_tester)


def _with_errors(own: BlockSums, beside: Beside, collect: Collect) -> BlockSums:
    """`own` sums of the columns that are kept, with the errors in M.

    `beside` are the products of all columns with those of the errors, a term a tester; `collect`
    adds up products over testers as those of `own` are.
    """
    # Testers lie along the last axis meanwhile: arrays of two by two are slow to go through.
    turned = Beside(
        *(np.ascontiguousarray(np.moveaxis(term, 0, -1)) for term in vars(beside).values())
    )
    kept = own.cross.shape[-1]
    for _ in range(beside.cross.shape[-1]):
        error = _Error.last(turned)
        own = error.in_products(own, kept, collect)
        turned = error.in_rest(turned)
    return own


@dataclass(frozen=True)
class _Error:
    """The last column z of some sums: what adding its variance of one to M takes from the others.

    Of the columns u before it: `a` u'B^-1 z (m, n), `shrunken` h a, and likewise by component c and
    by pairs of them, n testers and thetas along the last axis.
    """

    h: Floats
    a: Floats
    shrunken: Floats
    of_error: Floats
    of_pair: Floats
    lean: Floats
    bent: Floats
    into: Floats

    @classmethod
    def last(cls, sums: Beside) -> "_Error":
        h = 1 / (1 + sums.cross[-1, -1])
        a = sums.cross[:-1, -1]
        shrunken = h * a
        towards, of_error = sums.slope[:, :-1, -1], sums.slope[:, -1, -1]
        bent, of_pair = sums.bend[:, :, :-1, -1], sums.bend[:, :, -1, -1]
        return cls(
            h,
            a,
            shrunken,
            of_error,
            of_pair,
            towards - of_error[:, None] / 2 * shrunken,
            bent - of_pair[:, :, None] / 2 * shrunken,
            towards - of_error[:, None] * shrunken,
        )

    def in_products(self, own: BlockSums, kept: int, collect: Collect) -> BlockSums:
        """Sums of the first `kept` columns with this error in M."""
        a, shrunken, lean, into = (
            term[..., :kept, :] for term in (self.a, self.shrunken, self.lean, self.into)
        )
        bent = self.bent[:, :, :kept]
        slope, bend = own.slope.copy(), own.bend.copy()
        for c in range(3):
            slope[:, c] -= _twice(collect(lean[c], shrunken))
            for d in range(c, 3):
                bend[:, c, d] -= _twice(collect(bent[c, d], shrunken))
                bend[:, c, d] -= _twice(collect(self.h / 2 * into[c], into[d]))
                bend[:, d, c] = bend[:, c, d]
        of_error, of_pair = self.of_error, self.of_pair
        taken = self.h * of_error
        pair = taken[:, None] * taken - 2 * self.h * of_pair
        return BlockSums(
            own.log_determinant - _scalars(collect, np.log(self.h)),
            own.cross - collect(shrunken, a),
            own.trace - _scalars(collect, taken),
            slope,
            own.trace_of_pair + _scalars(collect, pair),
            bend,
        )

    def in_rest(self, sums: Beside) -> Beside:
        """Products of all columns but this with the other errors, this error in M."""
        others = slice(self.a.shape[0] + 1 - sums.cross.shape[1], None)

        def both(left: Floats, right: Floats) -> Floats:
            return left[:, None] * right[others] + right[:, None] * left[others]

        bend = sums.bend[:, :, :-1, :-1].copy()
        for c in range(3):
            for d in range(c, 3):
                bend[c, d] -= both(self.bent[c, d], self.shrunken)
                bend[c, d] -= both(self.h / 2 * self.into[c], self.into[d])
                bend[d, c] = bend[c, d]
        slope = np.stack([both(self.lean[c], self.shrunken) for c in range(3)])
        return Beside(
            sums.cross[:-1, :-1] - self.shrunken[:, None] * self.a[others],
            sums.slope[:, :-1, :-1] - slope,
            bend,
        )


def _twice(product: Floats) -> Floats:
    """A product (n, m, m) and its transpose."""
    return np.asarray(product + product.transpose(0, 2, 1))


def _scalars(collect: Collect, values: Floats) -> Floats:
    """Values (..., n) as `collect` adds them up, the first axis n."""
    flat = values.reshape(-1, values.shape[-1])
    return collect(flat, np.ones((1, flat.shape[1])))[:, :, 0].reshape(-1, *values.shape[:-1])


def _by_tester(left: Floats, right: Floats) -> Floats:
    """Products of (m, n) and (p, n), (n, m, p)."""
    return np.asarray((left[:, None] * right).transpose(2, 0, 1))


def _in_total(thetas: int, left: Floats, right: Floats) -> Floats:
    """The same of T * g testers and thetas added up over testers, (g, m, p)."""
    by_theta = left.reshape(left.shape[0], -1, thetas), right.reshape(right.shape[0], -1, thetas)
    return np.asarray(by_theta[0].transpose(2, 0, 1) @ by_theta[1].transpose(2, 1, 0))


def shared_errors(errors: Floats, scale: Codes, tester: Codes) -> tuple[Floats, Floats]:
    """What scales add to the variance of single sets (k,), and their columns, (k, c).

    `errors` (k, e) are of e kinds, each one error of a scale and independent of the others. One
    that one set alone has counts with that set's own. `scale` and `tester` are codes from 0, and
    each tester's errors take the columns from the first on.
    """
    sets, kinds = errors.shape
    error = kinds * scale[:, None] + np.arange(kinds)
    alone = np.bincount(error.ravel(), errors.ravel() != 0)[error] < 2
    rows, kind = np.nonzero(~alone & (errors != 0))
    columns = np.zeros((sets, 0))
    for place in _places(error[rows, kind], tester[rows]):
        column = np.zeros((sets, 1))
        column[rows[place], 0] = errors[rows[place], kind[place]]
        columns = np.concatenate((columns, column), axis=1)
    return np.where(alone, errors**2, 0.0).sum(axis=1), columns


def _places(error: Codes, tester: Codes) -> Iterator[Codes]:
    """Rows of the first error of each tester, of the second, and so on."""
    pairs, of_row = np.unique(np.stack((tester, error)), axis=1, return_inverse=True)
    order = np.arange(pairs.shape[1]) - np.searchsorted(pairs[0], pairs[0])
    of_row = order[of_row.ravel()]
    for number in range(int(order.max(initial=-1)) + 1):
        yield np.flatnonzero(of_row == number)
