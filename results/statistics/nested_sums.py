"""Sums of the restricted likelihood where errors share variance along the tree, in O(k).

Within a tester M = diag(a_i + s2_set) + one rank-one term b 1 1' a baseline, s2_session 1 1' a
session and s2_tester 1 1'. The inverse of a sum of nested rank-one terms follows by applying the
formula of Sherman & Morrison (1950), Annals of Mathematical Statistics 21:124-127, once a level
from the sets upwards: a node with variance c over children whose 1'S^-1 1 add up to Q has, with
s = 1 + c Q and kappa = c / s,

    ln|S| = (sum of the children's) + ln s,  1'S^-1 1 = Q / s.

So M^-1 = D - sum over nodes of kappa w w', with D = diag(alpha), alpha_i = 1/(a_i + s2_set), and
w the sets' alpha divided by the s of the levels below the node. No difference of large sums is
taken: with q = 1'S^-1 1 and the mean m = 1'S^-1 u / q of each node,

    u'S^-1 u = (sum over the nodes c below, and their means' distance from the mean m of the node
               above, of q_c (m_c - m)(m_c - m)') + q m m',

and M^-1 u = alpha (u - m + d) within a baseline, where d, from the tester downwards, is
(m - m_above + d_above) / s, and m / s for the tester. So the sums keep their digits however much
more the levels scatter than the pulls. A node of a single child is one with it: its variance counts
with the child's.

Arrays have the sets or nodes along the first axis, and g thetas along the second.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER, BlockSums
from results.statistics.nested_traces import Levels, Node, traces
from results.statistics.nesting import Codes, Nesting, Summation

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Collect = Callable[[Summation | None, Floats, Floats], Floats]

LARGEST = 2**18  # sets times thetas at once; bounds the memory


@dataclass(frozen=True)
class _Climb:
    """Means of v by 1'S^-1, of a baseline (J, g, m), session (S, g, m), tester (T, g, m)."""

    baseline: Floats
    session: Floats
    tester: Floats


@dataclass(frozen=True)
class _Solved:
    """Columns u (k, g, m) and w = M^-1 u at g thetas, with the means of both."""

    levels: Levels
    u: Floats
    climb: _Climb
    w: Floats
    again: _Climb


@dataclass(frozen=True)
class Beside:
    """Products of m columns with the last c, a term a tester and theta along the first axis.

    `cross` (n, m, c), `slope` (n, 3, m, c) and `bend` (n, 3, 3, m, c) as in BlockSums.
    """

    cross: Floats
    slope: Floats
    bend: Floats


@dataclass(frozen=True)
class NestedSums:
    """The sums over k sets with `own_variance` (k,), `shared_variance` (J,), `columns` (k, m).

    The first column is ones.
    """

    nesting: Nesting
    own_variance: Floats
    shared_variance: Floats
    columns: Floats

    def totals(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3), but one `left_out` (g,) of each."""
        size = max(LARGEST // self.own_variance.size, 1)
        parts = []
        for first in range(0, theta.shape[0], size):
            some = slice(first, first + size)
            out = None if left_out is None else left_out[some]
            parts.append(self._sums(theta[some], out, _in_total))
        return parts[0] if len(parts) == 1 else BlockSums.joined(parts)

    def totals_beside(
        self, theta: Floats, left_out: Codes | None, last: int
    ) -> tuple[BlockSums, Beside]:
        """`totals` of all columns but the `last`, and these times all columns by tester."""
        solved = self._solved_at(theta, left_out)
        own = slice(None, -last)
        products = _Products(self.nesting, solved, _by_tester, slice(None), slice(-last, None))
        twice = self._solved(solved.levels, solved.again, solved.w)
        of_set = self.nesting.of_set
        beside = Beside(
            products.of(of_set, solved.w, solved.u),
            products.slope(),
            products.bend(products.of(of_set, twice, solved.w)),
        )
        return self._collected(solved, _in_total, own), beside

    def by_tester(self, theta: Floats) -> BlockSums:
        """One term a tester (T,) at one theta (3,)."""
        return self.each_tester(theta[None], None)

    def each_tester(self, theta: Floats, left_out: Codes | None) -> BlockSums:
        """One term a tester and theta (g, 3), first axis T * g, nothing of one `left_out` (g,)."""
        return self._sums(theta, left_out, _by_tester)

    def _sums(self, theta: Floats, left_out: Codes | None, collect: Collect) -> BlockSums:
        return self._collected(self._solved_at(theta, left_out), collect, slice(None))

    def _solved_at(self, theta: Floats, left_out: Codes | None) -> _Solved:
        levels = self._levels(theta, left_out)
        u = np.broadcast_to(self.columns[:, None], (*levels.alpha.shape, self.columns.shape[1]))
        climb = self._climb(levels, u)
        for means in (climb.baseline, climb.session, climb.tester):
            means[:, :, 0] = 1.0
        solved = self._solved(levels, climb, u)
        return _Solved(levels, u, climb, solved, self._climb(levels, solved))

    def _collected(self, at: _Solved, collect: Collect, columns: slice) -> BlockSums:
        """The sums of some columns."""
        levels = at.levels
        trace, trace_of_pair = traces(levels, self.nesting)
        log_determinant = levels.log_determinant(self.nesting)[:, :, None]
        scalars = np.concatenate((log_determinant, trace, trace_of_pair), axis=2)
        summed = collect(None, scalars, np.ones((*scalars.shape[:2], 1)))[:, :, 0]
        products = _Products(self.nesting, at, collect, columns, columns)
        return BlockSums(
            summed[:, 0],
            products.quadratic(at.climb, at.u),
            summed[:, 1:4],
            products.slope(),
            summed[:, 4:].reshape(-1, 3, 3),
            products.bend(products.quadratic(at.again, at.w)),
        )

    def _levels(self, theta: Floats, left_out: Codes | None) -> Levels:
        """The nodes at each theta, where a node of a single child is one with it."""
        nesting, only = self.nesting, self._only
        of_tester = np.broadcast_to(theta[:, TESTER], (nesting.testers.size, theta.shape[0]))
        of_session = theta[:, SESSION] + _passed(only.session, nesting.tester_of_session, of_tester)
        of_baseline = self.shared_variance[:, None] + _passed(
            only.baseline, nesting.session_of_baseline, of_session
        )
        of_set = self.own_variance[:, None] + theta[:, SET]
        of_set = of_set + _passed(only.set, nesting.baseline_of_set, of_baseline)
        alpha = 1 / of_set
        if left_out is not None:
            # A tester left out has weights of zero, and adds nothing to any sum.
            kept = nesting.testers[nesting.tester_of_set][:, None] != left_out
            alpha, of_set = alpha * kept, np.where(kept, of_set, 1.0)
        baseline = Node.over(
            nesting.to_baseline @ alpha, np.where(only.set[:, None], 0.0, of_baseline)
        )
        session = Node.over(
            nesting.to_session @ baseline.q, np.where(only.baseline[:, None], 0.0, of_session)
        )
        tester = Node.over(
            nesting.to_tester @ session.q, np.where(only.session[:, None], 0.0, of_tester)
        )
        return Levels(alpha, np.log(of_set), baseline, session, tester)

    @cached_property
    def _only(self) -> "_Only":
        nesting = self.nesting
        return _Only(
            _single(nesting.baseline_of_set),
            _single(nesting.session_of_baseline),
            _single(nesting.tester_of_session),
        )

    def _climb(self, levels: Levels, v: Floats) -> _Climb:
        """Means of v (k, g, m) from the sets upwards."""
        nesting = self.nesting
        baseline = _mean(nesting.to_baseline, levels.alpha, v, levels.baseline)
        session = _mean(nesting.to_session, levels.baseline.q, baseline, levels.session)
        tester = _mean(nesting.to_tester, levels.session.q, session, levels.tester)
        return _Climb(baseline, session, tester)

    def _left(self, levels: Levels, climb: _Climb) -> Floats:
        """d of each baseline, (J, g, m)."""
        nesting = self.nesting
        session = _summed_up(self.nesting, levels, climb) / levels.session.s[:, :, None]
        above = (session - climb.session)[nesting.session_of_baseline]
        return np.asarray((climb.baseline + above) / levels.baseline.s[:, :, None])

    def _solved(self, levels: Levels, climb: _Climb, v: Floats) -> Floats:
        """M^-1 [1, X, y], (k, g, m)."""
        moved = self._left(levels, climb) - climb.baseline
        return np.asarray(levels.alpha[:, :, None] * (v + moved[self.nesting.baseline_of_set]))


@dataclass(frozen=True)
class _Products:
    """Sums of products of some columns (the rows of what comes out) with some (its columns)."""

    nesting: Nesting
    at: _Solved
    collect: Collect
    rows: slice
    columns: slice

    def of(self, to_tester: Summation | None, u: Floats, v: Floats) -> Floats:
        """u'v, summed; of testers where no summation is given."""
        return self.collect(to_tester, u[:, :, self.rows], v[:, :, self.columns])

    def symmetric(self, to_tester: Summation | None, u: Floats, v: Floats) -> Floats:
        """The symmetric part of u'v, summed."""
        one = self.of(to_tester, u, v)
        square = self.rows == self.columns
        other = one.transpose(0, 2, 1) if square else self.of(to_tester, v, u)
        return np.asarray((one + other) / 2)

    def quadratic(self, climb: _Climb, v: Floats) -> Floats:
        """v'M^-1 v, of its means `climb`."""
        nesting, levels = self.nesting, self.at.levels
        found = self.of(None, levels.tester.q[:, :, None] * climb.tester, climb.tester)
        for to_tester, weight, mean, above, parent in (
            (nesting.of_set, levels.alpha, v, climb.baseline, nesting.baseline_of_set),
            (
                nesting.of_baseline,
                levels.baseline.q,
                climb.baseline,
                climb.session,
                nesting.session_of_baseline,
            ),
            (
                nesting.of_session,
                levels.session.q,
                climb.session,
                climb.tester,
                nesting.tester_of_session,
            ),
        ):
            apart = mean - above[parent]
            found = found + self.of(to_tester, weight[:, :, None] * apart, apart)
        return found

    def slope(self) -> Floats:
        """slope of BlockSums."""
        nesting, tester, session, w = self.nesting, self.tester, self.session, self.at.w
        of_testers = self.of(None, tester, tester)
        of_sessions = self.of(nesting.of_session, session, session)
        return np.stack((of_testers, of_sessions, self.of(nesting.of_set, w, w)), axis=1)

    def bend(self, of_pairs_of_sets: Floats) -> Floats:
        """bend of BlockSums, of which w'M^-1 w is known."""
        nesting, levels, again = self.nesting, self.at.levels, self.at.again
        tester, session = self.tester, self.session
        q_tester, q_session = levels.tester.q[:, :, None], levels.session.q[:, :, None]
        spread = _summed(nesting.to_tester, q_session * session)
        bend = np.empty((of_pairs_of_sets.shape[0], 3, 3, *of_pairs_of_sets.shape[1:]))
        bend[:, TESTER, TESTER] = self.of(None, q_tester * tester, tester)
        bend[:, SESSION, SESSION] = self.of(nesting.of_session, q_session * session, session)
        bend[:, SESSION, SESSION] -= self.of(None, levels.tester.kappa[:, :, None] * spread, spread)
        bend[:, SET, SET] = of_pairs_of_sets
        again_session = q_session * _summed_up(nesting, levels, again)
        for c, d, to_tester, u, v in (
            (TESTER, SESSION, None, spread / levels.tester.s[:, :, None], tester),
            (TESTER, SET, None, q_tester * again.tester, tester),
            (SESSION, SET, nesting.of_session, again_session, session),
        ):
            bend[:, c, d] = bend[:, d, c] = self.symmetric(to_tester, u, v)
        return bend

    @cached_property
    def tester(self) -> Floats:
        """1'w over the sets of each tester, (T, g, m)."""
        return np.asarray(self.at.levels.tester.q[:, :, None] * self.at.climb.tester)

    @cached_property
    def session(self) -> Floats:
        """1'w over the sets of each session, (S, g, m)."""
        levels = self.at.levels
        return levels.session.q[:, :, None] * _summed_up(self.nesting, levels, self.at.climb)


@dataclass(frozen=True)
class _Only:
    """Whether a baseline (J,), session (S,), tester (T,) has a single child."""

    set: Booleans
    baseline: Booleans
    session: Booleans


def _summed_up(nesting: Nesting, levels: Levels, climb: _Climb) -> Floats:
    """1'M^-1 v over the sets of each session, over its q, (S, g, m)."""
    above = climb.tester / levels.tester.s[:, :, None] - climb.tester
    return np.asarray(climb.session + above[nesting.tester_of_session])


def _single(parent: Codes) -> Booleans:
    return np.asarray(np.bincount(parent) == 1)


def _passed(single: Booleans, parent: Codes, variance: Floats) -> Floats:
    """The variance that each child takes over from its parent, (children, g)."""
    return np.where(single[:, None], variance, 0.0)[parent]


def _summed(to_node: Summation, v: Floats) -> Floats:
    """Sums over the children of each node, of v (children, g, m)."""
    return np.asarray(to_node @ v.reshape(v.shape[0], -1)).reshape(-1, *v.shape[1:])


def _mean(to_node: Summation, weight: Floats, v: Floats, node: Node) -> Floats:
    children = np.where(node.children > 0, node.children, 1.0)
    return np.asarray(_summed(to_node, weight[:, :, None] * v) / children[:, :, None])


def _in_total(_to_tester: Summation | None, u: Floats, v: Floats) -> Floats:
    return np.asarray(u.transpose(1, 2, 0) @ v.transpose(1, 0, 2))


def _by_tester(to_tester: Summation | None, u: Floats, v: Floats) -> Floats:
    found = np.einsum("kgi,kgj->kgij", u, v)
    if to_tester is not None:
        found = _summed(to_tester, found)
    return np.asarray(found.reshape(-1, *found.shape[2:]))
