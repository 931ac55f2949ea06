"""The errors of a pool: variance shared along the tree of testers, sessions, baselines and sets.

The sums over testers come from `nested_sums`, and for testers whose sessions hold one set each from
`flat_errors`, which is quicker but takes differences of large sums; it is left out where they would
cost digits. Testers whose scale brings one error into several sets are summed by `zero_errors`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER, BlockSums
from results.statistics.flat_errors import FlatErrors
from results.statistics.nested_sums import NestedSums
from results.statistics.nesting import Codes, Nesting, nest, rows_by_size
from results.statistics.zero_errors import ZeroSums

Floats = NDArray[np.float64]


STEEP = 1e4
"""Squared distance of the sets from their middle, over their least variance, beyond which sums of
squares less the square of sums would cost more than four digits."""


@dataclass(frozen=True)
class NestedErrors:
    """k sets with `own_variance` (k,), `shared_variance` (J,) by baseline, and `columns` (k, m).

    The columns are [1, X..., y]; `first` is 0 where the ones belong to the model as its intercept
    and 1 where X has none. `zeros` (k, c) are errors of variance one that the scales of testers
    bring in, each tester's in the first columns.
    """

    nesting: Nesting
    own_variance: Floats
    shared_variance: Floats
    columns: Floats
    first: int = 0
    zeros: Floats | None = None

    @property
    def sets(self) -> int:
        return int(self.own_variance.size)

    @property
    def design(self) -> Floats:
        return self.columns[:, self.first : -1]

    def totals(self, theta: Floats) -> BlockSums:
        return self.totals_without(theta)

    def totals_without(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3), but one `left_out` (g,) of each, if given."""
        sums = (self._flat, self._deep, *self._zeroed)
        parts = [each.totals(theta, left_out) for each in sums if each is not None]
        return reduce(BlockSums.plus, parts).columns(self.first)

    @cached_property
    def _flat(self) -> FlatErrors | None:
        """The testers whose sessions hold one set each, where there are any."""
        rows = np.flatnonzero(~self._in_deep & ~self._in_zeroed)
        if not rows.size:
            return None
        rows = rows[np.argsort(self.nesting.tester_of_set[rows], kind="stable")]
        shared = self.shared_variance[self.nesting.baseline_of_set[rows]]
        return FlatErrors(
            self.own_variance[rows] + shared,
            self.columns[rows],
            self.nesting.testers[self.nesting.tester_of_set[rows]],
        )

    @cached_property
    def _deep(self) -> NestedSums | ZeroSums | None:
        """The testers with several, where there are any."""
        rows = self._in_deep & ~self._in_zeroed
        return replace(self._only(rows), zeros=None).sums() if rows.any() else None

    @cached_property
    def _zeroed(self) -> list[NestedSums | ZeroSums]:
        """The testers with errors that several of their sets share, by how many these are."""
        found = []
        for errors in np.unique(self._errors[self._in_zeroed]).tolist():
            some = self._only(self._errors == errors)
            zeros = None if some.zeros is None else some.zeros[:, :errors]
            found.append(replace(some, zeros=zeros).sums())
        return found

    def _only(self, rows: NDArray[np.bool_]) -> "NestedErrors":
        return self if rows.all() else self.some(rows)

    def sums(self, columns: Floats | None = None) -> NestedSums | ZeroSums:
        """The sums of all testers, of the model's columns or of others (k, m) in their place."""
        of_model = self.columns if columns is None else columns
        tree = NestedSums(self.nesting, self.own_variance, self.shared_variance, of_model)
        if self.zeros is None:
            return tree
        both = np.concatenate((of_model, self.zeros), axis=1)
        return ZeroSums(replace(tree, columns=both), self.zeros.shape[1])

    @property
    def _in_zeroed(self) -> NDArray[np.bool_]:
        """Rows of testers with an error that several of their sets share."""
        return self._errors > 0

    @cached_property
    def _errors(self) -> Codes:
        """How many such errors the tester of each row has."""
        if self.zeros is None:
            return np.zeros(self.sets, dtype=np.intp)
        tester = self.nesting.tester_of_set
        of_tester = np.zeros((self.nesting.testers.size, self.zeros.shape[1]), dtype=bool)
        np.logical_or.at(of_tester, tester, self.zeros != 0)
        return np.asarray(of_tester.sum(axis=1)[tester], dtype=np.intp)

    @cached_property
    def _in_deep(self) -> NDArray[np.bool_]:
        """Rows of testers with several sets in a session."""
        variance = self.own_variance + self.shared_variance[self.nesting.baseline_of_set]
        distance = self.columns[:, -1] - np.median(self.columns[:, -1])
        if (distance**2).max() > STEEP * variance.min():
            return np.ones(self.sets, dtype=bool)
        session = self.nesting.session_of_set
        crowded = np.bincount(session)[session] > 1
        tester = self.nesting.tester_of_set
        return np.bincount(tester, crowded, minlength=self.nesting.testers.size)[tester] > 0

    def by_tester(self, theta: Floats) -> BlockSums:
        return self.sums().by_tester(theta).columns(self.first)

    def without_each(self, theta: Floats) -> BlockSums:
        """Sums without each tester at one theta (3,), first axis T."""
        return self.totals(theta[None]).without(self.by_tester(theta))

    def towards_testers(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """z'M^-1 z, 1'M^-1 z and y'M^-1 z of each tester's column z, (T,) each."""
        cross = self.by_tester(theta).cross
        return cross[:, 0, 0], cross[:, 0, 0], cross[:, 0, -1]

    def blocks(self, theta: Floats) -> Iterator[tuple[Codes, Floats]]:
        """Rows (c, n) and M (c, n, n) of the testers with n sets, for each n."""
        baseline, session = self.nesting.baseline_of_set, self.nesting.session_of_set
        for rows in rows_by_size(self.nesting.tester_of_set):
            same_baseline = baseline[rows][:, :, None] == baseline[rows][:, None, :]
            same_session = session[rows][:, :, None] == session[rows][:, None, :]
            shared = self.shared_variance[baseline[rows]][:, :, None]
            marginal = theta[TESTER] + theta[SESSION] * same_session + shared * same_baseline
            diagonal = np.arange(rows.shape[1])
            marginal[:, diagonal, diagonal] += self.own_variance[rows] + theta[SET]
            if self.zeros is not None:
                marginal += self.zeros[rows] @ self.zeros[rows].transpose(0, 2, 1)
            yield rows, marginal

    def some(self, kept: NDArray[np.bool_]) -> "NestedErrors":
        """The model of the sets kept (k,)."""
        nesting = self.nesting
        baseline = nesting.baseline_of_set[kept]
        rest = nest(
            nesting.testers[nesting.tester_of_set[kept]], nesting.session_of_set[kept], baseline
        )
        return replace(
            self,
            nesting=rest,
            own_variance=self.own_variance[kept],
            shared_variance=self.shared_variance[np.unique(baseline)],
            columns=self.columns[kept],
            zeros=None if self.zeros is None else self.zeros[kept],
        )
