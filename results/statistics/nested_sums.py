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
Collect = Callable[[Summation, Floats, Floats], Floats]

LARGEST = 2**18  # sets times thetas at once; bounds the memory


@dataclass(frozen=True)
class _Climb:
    """Means of v by 1'S^-1, of a baseline (J, g, m), session (S, g, m), tester (T, g, m)."""

    baseline: Floats
    session: Floats
    tester: Floats


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

    def by_tester(self, theta: Floats) -> BlockSums:
        """One term a tester (T,) at one theta (3,)."""
        return self.each_tester(theta[None], None)

    def each_tester(self, theta: Floats, left_out: Codes | None) -> BlockSums:
        """One term a tester and theta (g, 3), first axis T * g, nothing of one `left_out` (g,)."""
        return self._sums(theta, left_out, _by_tester)

    def _sums(self, theta: Floats, left_out: Codes | None, collect: Collect) -> BlockSums:
        levels = self._levels(theta, left_out)
        of_tester = self.nesting.of_tester
        u = np.broadcast_to(self.columns[:, None], (*levels.alpha.shape, self.columns.shape[1]))
        climb = self._climb(levels, u)
        for means in (climb.baseline, climb.session, climb.tester):
            means[:, :, 0] = 1.0
        solved = self._solved(levels, climb, u)
        trace, trace_of_pair = traces(levels, self.nesting)
        log_determinant = levels.log_determinant(self.nesting)[:, :, None]
        scalars = np.concatenate((log_determinant, trace, trace_of_pair), axis=2)
        summed = collect(of_tester, scalars, np.ones((*scalars.shape[:2], 1)))[:, :, 0]
        slope, bend = self._products(levels, climb, solved, collect)
        return BlockSums(
            summed[:, 0],
            self._quadratic(levels, climb, u, collect),
            summed[:, 1:4],
            slope,
            summed[:, 4:].reshape(-1, 3, 3),
            bend,
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
        session = self._summed_up(levels, climb) / levels.session.s[:, :, None]
        above = (session - climb.session)[nesting.session_of_baseline]
        return np.asarray((climb.baseline + above) / levels.baseline.s[:, :, None])

    def _summed_up(self, levels: Levels, climb: _Climb) -> Floats:
        """1'M^-1 v over the sets of each session, over its q, (S, g, m)."""
        above = climb.tester / levels.tester.s[:, :, None] - climb.tester
        return np.asarray(climb.session + above[self.nesting.tester_of_session])

    def _solved(self, levels: Levels, climb: _Climb, v: Floats) -> Floats:
        """M^-1 [1, X, y], (k, g, m)."""
        moved = self._left(levels, climb) - climb.baseline
        return np.asarray(levels.alpha[:, :, None] * (v + moved[self.nesting.baseline_of_set]))

    def _quadratic(self, levels: Levels, climb: _Climb, v: Floats, collect: Collect) -> Floats:
        """v'M^-1 v."""
        nesting = self.nesting
        found = collect(nesting.of_tester, levels.tester.q[:, :, None] * climb.tester, climb.tester)
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
            found = found + collect(to_tester, weight[:, :, None] * apart, apart)
        return found

    def _products(
        self, levels: Levels, climb: _Climb, solved: Floats, collect: Collect
    ) -> tuple[Floats, Floats]:
        """slope and bend of BlockSums, from W = M^-1 U."""
        nesting = self.nesting
        q_tester, q_session = levels.tester.q[:, :, None], levels.session.q[:, :, None]
        # 1'M^-1 v over the sets of each session (S, g, m) and tester (T, g, m).
        session = q_session * self._summed_up(levels, climb)
        tester = q_tester * climb.tester
        again = self._climb(levels, solved)
        again_tester = q_tester * again.tester
        spread = _summed(nesting.to_tester, q_session * session)
        slope = np.stack(
            (
                collect(nesting.of_tester, tester, tester),
                collect(nesting.of_session, session, session),
                collect(nesting.of_set, solved, solved),
            ),
            axis=1,
        )
        bend = np.empty((*slope.shape[:2], *slope.shape[1:]))
        bend[:, TESTER, TESTER] = collect(nesting.of_tester, q_tester * tester, tester)
        bend[:, TESTER, SESSION] = collect(
            nesting.of_tester, spread / levels.tester.s[:, :, None], tester
        )
        bend[:, TESTER, SET] = collect(nesting.of_tester, again_tester, tester)
        bend[:, SESSION, SESSION] = collect(nesting.of_session, q_session * session, session)
        bend[:, SESSION, SESSION] -= collect(
            nesting.of_tester, levels.tester.kappa[:, :, None] * spread, spread
        )
        bend[:, SESSION, SET] = collect(
            nesting.of_session, q_session * self._summed_up(levels, again), session
        )
        bend[:, SET, SET] = self._quadratic(levels, again, solved, collect)
        for c, d in ((TESTER, SESSION), (TESTER, SET), (SESSION, SET)):
            bend[:, c, d] = (bend[:, c, d] + bend[:, c, d].transpose(0, 2, 1)) / 2
            bend[:, d, c] = bend[:, c, d]
        return slope, bend


@dataclass(frozen=True)
class _Only:
    """Whether a baseline (J,), session (S,), tester (T,) has a single child."""

    set: Booleans
    baseline: Booleans
    session: Booleans


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


def _in_total(_to_tester: Summation, u: Floats, v: Floats) -> Floats:
    return np.asarray(u.transpose(1, 2, 0) @ v.transpose(1, 0, 2))


def _by_tester(to_tester: Summation, u: Floats, v: Floats) -> Floats:
    found = _summed(to_tester, u[:, :, :, None] * v[:, :, None, :])
    return found.reshape(-1, *found.shape[2:])
