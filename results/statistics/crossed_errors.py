"""Errors of a pool with effects that cross its testers: line products, spools, club days.

M = (blocks of the testers) + sum over factors of s2_f Z_f Z_f', where a factor has few levels (see
`woodbury`). A tester meets few of the levels, and only these are columns of their sums: the cost is
O(k) for the sums and O(q^3) for q levels, once a theta.

theta is (s2_tester, s2_session, s2_set) and then one variance a factor.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from results.statistics.block_sums import BlockSums
from results.statistics.nested_errors import NestedErrors
from results.statistics.nested_sums import NestedSums
from results.statistics.nesting import Codes, Nesting
from results.statistics.woodbury import shrunken, with_levels
from results.statistics.zero_errors import ZeroSums

Floats = NDArray[np.float64]

LARGEST = 2**21  # entries of an array at once: sets or testers times thetas times columns squared

WHOLE = 8.0
"""Times the columns of a tester, all columns up to which sums over testers at once are quicker."""


@dataclass(frozen=True)
class CrossedErrors:
    """A nested model, and the level of each factor that each set has, (k, f); -1 is none."""

    nested: NestedErrors
    levels: Codes

    @property
    def sets(self) -> int:
        return self.nested.sets

    @property
    def design(self) -> Floats:
        return self.nested.design

    @property
    def columns(self) -> Floats:
        return self.nested.columns

    @property
    def nesting(self) -> Nesting:
        return self.nested.nesting

    @property
    def numbers_of_levels(self) -> tuple[int, ...]:
        return tuple(int(level.max()) + 1 for level in self.levels.T)

    def some(self, kept: NDArray[np.bool_]) -> "CrossedErrors":
        """The model of the sets kept (k,)."""
        return CrossedErrors(self.nested.some(kept), self.levels[kept])

    def totals(self, theta: Floats) -> BlockSums:
        return self.totals_without(theta)

    def totals_without(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3 + f), but one `left_out` (g,) of each.

        Thetas that differ in the factors alone share the sums over the blocks.
        """
        if left_out is None:
            of_blocks = np.unique(theta[:, :3], axis=0)
            if of_blocks.shape[0] == 1 < theta.shape[0]:
                whole = self._of_all_columns(of_blocks, None).repeated(theta.shape[0])
                return self._crossed(whole, theta)
        size = max(LARGEST // (self.sets * self._wide.columns.shape[1] ** 2), 1)
        parts = []
        for first in range(0, theta.shape[0], size):
            some = theta[first : first + size]
            out = None if left_out is None else left_out[first : first + size]
            parts.append(self._crossed(self._of_all_columns(some[:, :3], out), some))
        return BlockSums.joined(parts)

    def _of_all_columns(self, theta: Floats, left_out: Codes | None) -> BlockSums:
        """Sums over testers of the model's columns and of all levels', at thetas (g, 3)."""
        if self._whole is not None:
            return self._whole.totals(theta, left_out)
        return self._wide.summed(self._sums.each_tester(theta, left_out), theta.shape[0])

    @cached_property
    def _whole(self) -> NestedSums | ZeroSums | None:
        """The sums with a column a level, where a tester meets about as many as there are."""
        wide = self._wide
        if wide.size > WHOLE * wide.columns.shape[1]:
            return None
        of_level = [
            (level[:, None] == np.arange(q)).astype(np.float64)
            for q, level in zip(self.numbers_of_levels, self.levels.T, strict=True)
        ]
        return self.nested.sums(np.concatenate((self.columns, *of_level), axis=1))

    def without_each(self, theta: Floats) -> BlockSums:
        """Sums without each tester at one theta (3 + f,), first axis T."""
        mine = self._sums.each_tester(theta[None, :3], None)
        whole, testers = self._wide.summed(mine, 1), self.nesting.testers.size
        size = max(LARGEST // (9 * self._wide.size**2), 1)
        parts = []
        for first in range(0, testers, size):
            some = np.arange(first, min(first + size, testers))
            rest = whole.without(self._wide.spread(mine, some))
            parts.append(self._crossed(rest, np.tile(theta, (some.size, 1))))
        return BlockSums.joined(parts)

    def by_tester(self, theta: Floats) -> BlockSums:
        """The blocks' own sums, without what crosses them, first axis T."""
        return self.nested.by_tester(theta[:3])

    def blocks(self, theta: Floats) -> Iterator[tuple[Codes, Floats]]:
        """The testers' blocks, without what crosses them."""
        return self.nested.blocks(theta[:3])

    def towards_testers(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """z'M^-1 z, 1'M^-1 z and y'M^-1 z of each tester's column z, (T,) each."""
        wide, own = self._wide, self._wide.own
        mine = self._sums.each_tester(theta[None, :3], None).cross
        whole = wide.summed_up(mine[:, None], 1)[0, 0]
        h, _ = shrunken(whole[None, own:, own:], np.sqrt(wide.each_level(theta[None, 3:])))
        towards = np.zeros((mine.shape[0], wide.size + 1))
        np.put_along_axis(towards, wide.place[:, own:], mine[:, 0, own:], axis=1)
        towards = towards[:, own:-1]
        leaning = towards @ h[0]
        return (
            mine[:, 0, 0] - np.einsum("tq,tq->t", leaning, towards),
            mine[:, 0, 0] - leaning @ whole[own:, 0],
            mine[:, 0, own - 1] - leaning @ whole[own:, own - 1],
        )

    def _crossed(self, sums: BlockSums, theta: Floats) -> BlockSums:
        wide = self._wide
        return with_levels(sums, wide.own, wide.factors, theta[:, 3:]).columns(self.nested.first)

    @cached_property
    def _wide(self) -> "_Wide":
        return _widened(self.nested.columns, self.nesting.tester_of_set, self.levels)

    @cached_property
    def _sums(self) -> NestedSums | ZeroSums:
        return self.nested.sums(self._wide.columns)


@dataclass(frozen=True)
class _Wide:
    """`own` columns of a model and, by tester, those of the levels that the tester meets.

    `place` (T, m) says which of all `size` columns each of a tester's is; a tester with fewer
    levels than others has empty columns, whose place is `size`. `factors` are the levels of each
    factor, counted from the first level.
    """

    columns: Floats
    own: int
    place: Codes
    size: int
    factors: tuple[slice, ...]

    def each_level(self, variances: Floats) -> Floats:
        """The variance of each level (n, q) from that of each factor (n, f)."""
        return np.repeat(variances, [one.stop - one.start for one in self.factors], axis=1)

    def summed(self, mine: BlockSums, thetas: int) -> BlockSums:
        """Sums over testers (thetas, ...) of all columns, of one term a tester and theta."""
        by_theta = (-1, thetas)
        return BlockSums(
            mine.log_determinant.reshape(by_theta).sum(axis=0),
            self.summed_up(mine.cross[:, None], thetas)[:, 0],
            mine.trace.reshape(*by_theta, 3).sum(axis=0),
            self.summed_up(mine.slope, thetas),
            mine.trace_of_pair.reshape(*by_theta, 3, 3).sum(axis=0),
            self.summed_up(mine.bend.reshape(-1, 9, *mine.bend.shape[3:]), thetas).reshape(
                thetas, 3, 3, self.size, self.size
            ),
        )

    def summed_up(self, terms: Floats, thetas: int) -> Floats:
        """Terms (T * thetas, c, m, m) summed where they belong, (thetas, c, size, size)."""
        testers, m = self.place.shape
        kinds = terms.shape[1]
        flat = terms.reshape(testers, thetas, kinds, m * m).transpose(0, 3, 1, 2)
        found = np.zeros(((self.size + 1) ** 2, thetas * kinds))
        targets, summation = self._summation
        found[targets] = summation @ flat.reshape(testers * m * m, thetas * kinds)
        found = found.reshape(self.size + 1, self.size + 1, thetas, kinds)
        return np.ascontiguousarray(found[:-1, :-1].transpose(2, 3, 0, 1))

    @cached_property
    def _summation(self) -> tuple[Codes, csr_array]:
        flat = (self.place[:, :, None] * (self.size + 1) + self.place[:, None, :]).ravel()
        targets, target = np.unique(flat, return_inverse=True)
        ones = np.ones(flat.size)
        where = (target.ravel(), np.arange(flat.size))
        return targets, csr_array((ones, where), shape=(targets.size, flat.size))

    def spread(self, mine: BlockSums, some: Codes) -> BlockSums:
        """The terms of `some` testers at one theta, each where its columns belong."""
        return BlockSums(
            mine.log_determinant[some],
            self._spread(mine.cross, some),
            mine.trace[some],
            self._spread(mine.slope, some),
            mine.trace_of_pair[some],
            self._spread(mine.bend, some),
        )

    def _spread(self, terms: Floats, some: Codes) -> Floats:
        found = np.zeros((some.size, *terms.shape[1:-2], self.size + 1, self.size + 1))
        place = self.place[some]
        between = (slice(None),) * (terms.ndim - 3)
        tester = np.arange(some.size)[:, None, None]
        if between:
            moved = np.moveaxis(found, (-2, -1), (1, 2))
            moved[tester, place[:, :, None], place[:, None, :]] = np.moveaxis(
                terms[some], (-2, -1), (1, 2)
            )
        else:
            found[tester, place[:, :, None], place[:, None, :]] = terms[some]
        return found[..., :-1, :-1]


def _widened(columns: Floats, tester: Codes, levels: Codes) -> _Wide:
    """Columns of a model beside those of each set's levels; `levels` (k, f) from 0, -1 for none."""
    k, own = columns.shape
    testers = int(tester.max()) + 1
    places, parts, factors, size = [np.tile(np.arange(own), (testers, 1))], [columns], [], 0
    for level in levels.T:
        q = int(level.max(initial=-1)) + 1
        factors.append(slice(size, size + q))
        rows = np.flatnonzero(level >= 0)
        pairs, of_row = np.unique(tester[rows] * q + level[rows], return_inverse=True)
        met_by, met = np.divmod(pairs, q)
        order = np.arange(pairs.size) - np.searchsorted(met_by, met_by)
        most = int(order.max(initial=-1)) + 1
        place = np.full((testers, most), -1)
        place[met_by, order] = own + size + met
        places.append(place)
        part = np.zeros((k, most))
        part[rows, order[of_row.ravel()]] = 1.0
        parts.append(part)
        size += q
    place = np.concatenate(places, axis=1)
    place[place < 0] = own + size
    return _Wide(np.concatenate(parts, axis=1), own, place, own + size, tuple(factors))
