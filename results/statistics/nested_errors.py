"""Sums of the restricted likelihood where errors share variance along the tree, in O(k).

Within a tester M = diag(a_i + s2_set) + one rank-one term b 1 1' a baseline, s2_session 1 1' a
session and s2_tester 1 1'. The inverse of a sum of nested rank-one terms follows by applying the
formula of Sherman & Morrison (1950), Annals of Mathematical Statistics 21:124-127, once a level
from the sets upwards: a node with variance c over children whose 1'S^-1 1 add up to Q and whose
1'S^-1 u add up to G has, with s = 1 + c Q and kappa = c / s,

    ln|S| = (sum of the children's) + ln s,  1'S^-1 1 = Q / s,
    1'S^-1 u = G / s,  u'S^-1 u = (sum of the children's) - kappa G G'.

So M^-1 = D - sum over nodes of kappa w w', with D = diag(alpha), alpha_i = 1/(a_i + s2_set), and
w the sets' alpha divided by the s of the levels below the node. No difference of large sums is
taken: with q = 1'S^-1 1 and the mean m = 1'S^-1 u / q of each node, the children's means m_c and
weights q_c,

    u'S^-1 u = (sum over all children below of q_c (m_c - m)(m_c - m)') + q m m',

and M^-1 u = alpha (u - m + d) within a baseline, where d, from the tester downwards, is
(m - m_above + d_above) / s, and m / s for the tester. So the sums keep their digits however much
more the levels scatter than the pulls. A node of a single child is one with it: its variance counts
with the child's. Testers whose sessions hold one set each are summed by `flat_errors`, which takes
many thetas at once but does take such differences; it is left out where they would cost digits.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER, BlockSums
from results.statistics.flat_errors import FlatErrors
from results.statistics.nested_traces import Levels, Node, traces
from results.statistics.nesting import Codes, Nesting, Summation, nest, rows_by_size

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Collect = Callable[[Summation, Floats, Floats], Floats]


STEEP = 1e4
"""Squared distance of the sets from their middle, over their least variance, beyond which sums of
squares less the square of sums would cost more than four digits."""


@dataclass(frozen=True)
class _Climb:
    """Means of v by 1'S^-1, of a baseline (J, m), session (S, m), tester (T, m)."""

    baseline: Floats
    session: Floats
    tester: Floats


@dataclass(frozen=True)
class NestedErrors:
    """k sets with `own_variance` (k,), `shared_variance` (J,) by baseline, and `columns` (k, m).

    The columns are [1, X..., y]; `first` is 0 where the ones belong to the model as its intercept
    and 1 where X has none.
    """

    nesting: Nesting
    own_variance: Floats
    shared_variance: Floats
    columns: Floats
    first: int = 0

    @property
    def sets(self) -> int:
        return int(self.own_variance.size)

    @property
    def design(self) -> Floats:
        return self.columns[:, self.first : -1]

    def totals(self, theta: Floats) -> BlockSums:
        return self.totals_without(theta)

    def totals_without(self, theta: Floats, left_out: Codes | None = None) -> BlockSums:
        """Sums over all testers at each theta (g, 3), but one `left_out` (g,) of each, if told."""
        parts = []
        if self._flat is not None:
            parts.append(self._flat.totals(theta, left_out).columns(self.first))
        if self._deep is not None:
            out = [None] * len(theta) if left_out is None else left_out.tolist()
            deep = [self._deep.of_rest(one, code) for one, code in zip(theta, out, strict=True)]
            parts.append(BlockSums.joined(deep))
        return parts[0] if len(parts) == 1 else parts[0].plus(parts[1])

    def of_rest(self, theta: Floats, code: int | None) -> BlockSums:
        """Sums over all testers but the one of that code, at one theta (3,)."""
        if code is None or code not in self.nesting.testers:
            return self._sums(theta, _in_total)
        if self.nesting.testers.size == 1:
            return BlockSums.nothing(1, self.columns.shape[1] - self.first)
        if code not in self._rests:
            self._rests[code] = self.some(self.nesting.testers[self.nesting.tester_of_set] != code)
        return self._rests[code].of_rest(theta, None)

    @cached_property
    def _rests(self) -> dict[int, "NestedErrors"]:
        return {}

    @cached_property
    def _flat(self) -> FlatErrors | None:
        """The testers whose sessions hold one set each, where there are any."""
        rows = np.flatnonzero(~self._in_deep)
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
    def _deep(self) -> "NestedErrors | None":
        """The other testers, where there are any."""
        if self._in_deep.all():
            return self
        return self.some(self._in_deep) if self._in_deep.any() else None

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
        return self._sums(theta, _by_tester)

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
        )

    def _sums(self, theta: Floats, collect: Collect) -> BlockSums:
        levels = self._levels(theta)
        climb = self._climb(levels, self.columns)
        for means in (climb.baseline, climb.session, climb.tester):
            means[:, 0] = 1.0
        solved = self._solved(levels, climb)
        trace, trace_of_pair = traces(levels, self.nesting)
        scalars = np.column_stack((levels.log_determinant(self.nesting), trace, trace_of_pair))
        summed = collect(self.nesting.of_tester, scalars, np.ones((scalars.shape[0], 1)))[:, :, 0]
        slope, bend = self._products(levels, climb, solved, collect)
        return BlockSums(
            summed[:, 0],
            self._quadratic(levels, climb, self.columns, collect),
            summed[:, 1:4],
            slope,
            summed[:, 4:].reshape(-1, 3, 3),
            bend,
        ).columns(self.first)

    def _levels(self, theta: Floats) -> Levels:
        """The nodes at one theta, where a node of a single child is one with it."""
        nesting, only = self.nesting, self._only
        of_tester = np.full(nesting.testers.size, theta[TESTER])
        of_session = theta[SESSION] + _passed(only.session, nesting.tester_of_session, of_tester)
        of_baseline = self.shared_variance + _passed(
            only.baseline, nesting.session_of_baseline, of_session
        )
        of_set = self.own_variance + _passed(only.set, nesting.baseline_of_set, of_baseline)
        alpha = 1 / (of_set + theta[SET])
        baseline = Node.over(nesting.to_baseline @ alpha, np.where(only.set, 0.0, of_baseline))
        session = Node.over(
            nesting.to_session @ baseline.q, np.where(only.baseline, 0.0, of_session)
        )
        tester = Node.over(nesting.to_tester @ session.q, np.where(only.session, 0.0, of_tester))
        return Levels(alpha, baseline, session, tester)

    @cached_property
    def _only(self) -> "_Only":
        nesting = self.nesting
        return _Only(
            _single(nesting.baseline_of_set),
            _single(nesting.session_of_baseline),
            _single(nesting.tester_of_session),
        )

    def _climb(self, levels: Levels, v: Floats) -> _Climb:
        """Means of v (k, m) from the sets upwards."""
        nesting = self.nesting
        baseline = _mean(nesting.to_baseline, levels.alpha, v, levels.baseline)
        session = _mean(nesting.to_session, levels.baseline.q, baseline, levels.session)
        tester = _mean(nesting.to_tester, levels.session.q, session, levels.tester)
        return _Climb(baseline, session, tester)

    def _left(self, levels: Levels, climb: _Climb) -> _Climb:
        """d of each node: what is left of its mean when the variances above have had their part."""
        nesting = self.nesting
        tester = climb.tester / levels.tester.s[:, None]
        session = climb.session + (tester - climb.tester)[nesting.tester_of_session]
        session = session / levels.session.s[:, None]
        baseline = climb.baseline + (session - climb.session)[nesting.session_of_baseline]
        return _Climb(baseline / levels.baseline.s[:, None], session, tester)

    def _solved(self, levels: Levels, climb: _Climb) -> Floats:
        """M^-1 [1, X, y], (k, m)."""
        of_set = self.nesting.baseline_of_set
        left = self.columns - climb.baseline[of_set]
        left += self._left(levels, climb).baseline[of_set]
        return np.asarray(levels.alpha[:, None] * left)

    def _quadratic(self, levels: Levels, climb: _Climb, v: Floats, collect: Collect) -> Floats:
        """v'M^-1 v."""
        nesting = self.nesting
        tester = levels.tester.q[:, None] * climb.tester
        found = collect(nesting.of_tester, tester, climb.tester)
        for to_tester, weight, apart in (
            (nesting.of_set, levels.alpha, v - climb.baseline[nesting.baseline_of_set]),
            (
                nesting.of_baseline,
                levels.baseline.q,
                climb.baseline - climb.session[nesting.session_of_baseline],
            ),
            (
                nesting.of_session,
                levels.session.q,
                climb.session - climb.tester[nesting.tester_of_session],
            ),
        ):
            found = found + collect(to_tester, weight[:, None] * apart, apart)
        return found

    def _products(
        self, levels: Levels, climb: _Climb, solved: Floats, collect: Collect
    ) -> tuple[Floats, Floats]:
        """slope and bend of BlockSums, from W = M^-1 U."""
        nesting = self.nesting
        q_tester, q_session = levels.tester.q[:, None], levels.session.q[:, None]
        # 1'M^-1 v over the sets of each session (S, m) and tester (T, m).
        session = q_session * self._summed_up(levels, climb)
        tester = q_tester * climb.tester
        again = self._climb(levels, solved)
        again_tester = q_tester * again.tester
        spread = nesting.to_tester @ (q_session * session)
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
            nesting.of_tester, spread / levels.tester.s[:, None], tester
        )
        bend[:, TESTER, SET] = collect(nesting.of_tester, again_tester, tester)
        bend[:, SESSION, SESSION] = collect(nesting.of_session, q_session * session, session)
        bend[:, SESSION, SESSION] -= collect(
            nesting.of_tester, levels.tester.kappa[:, None] * spread, spread
        )
        bend[:, SESSION, SET] = collect(
            nesting.of_session, q_session * self._summed_up(levels, again), session
        )
        bend[:, SET, SET] = self._quadratic(levels, again, solved, collect)
        for c, d in ((TESTER, SESSION), (TESTER, SET), (SESSION, SET)):
            bend[:, c, d] = (bend[:, c, d] + bend[:, c, d].transpose(0, 2, 1)) / 2
            bend[:, d, c] = bend[:, c, d]
        return slope, bend

    def _summed_up(self, levels: Levels, climb: _Climb) -> Floats:
        """1'M^-1 v over the sets of each session, over its q, (S, m)."""
        above = climb.tester / levels.tester.s[:, None] - climb.tester
        return np.asarray(climb.session + above[self.nesting.tester_of_session])


@dataclass(frozen=True)
class _Only:
    """Whether a baseline (J,), session (S,), tester (T,) has a single child."""

    set: Booleans
    baseline: Booleans
    session: Booleans


def _single(parent: Codes) -> Booleans:
    return np.asarray(np.bincount(parent) == 1)


def _passed(single: Booleans, parent: Codes, variance: Floats) -> Floats:
    """The variance that each child takes over from its parent."""
    return np.where(single, variance, 0.0)[parent]


def _mean(to_node: Summation, weight: Floats, v: Floats, node: Node) -> Floats:
    return np.asarray((to_node @ (weight[:, None] * v)) / node.children[:, None])


def _in_total(_to_tester: Summation, u: Floats, v: Floats) -> Floats:
    return np.asarray(u.T @ v)[None]


def _by_tester(to_tester: Summation, u: Floats, v: Floats) -> Floats:
    products = u[:, :, None] * v[:, None, :]
    summed = to_tester @ products.reshape(u.shape[0], -1)
    return np.asarray(summed.reshape(-1, u.shape[1], v.shape[1]))
