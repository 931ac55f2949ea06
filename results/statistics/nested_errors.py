"""Sums of the restricted likelihood where errors share variance along the tree, in O(k).

Within a tester M = diag(a_i + s2_set) + one rank-one term b 1 1' a baseline, s2_session 1 1' a
session and s2_tester 1 1'. The inverse of a sum of nested rank-one terms follows by applying the
formula of Sherman & Morrison (1950), Annals of Mathematical Statistics 21:124-127, once a level
from the sets upwards: a node with variance c over children whose 1'S^-1 1 add up to Q has

    s = 1 + c Q,  ln|S| = (sum of the children's) + ln s,
    1'S^-1 u = G / s,  u'S^-1 u = R - (c / s) G G'   (G, R the children's sums).

Every rank-one vector is proportional to alpha_i = 1/(a_i + s2_set) within a baseline, so that
M^-1 u = alpha (u - m) with one constant m a baseline, and the moments sum alpha^r u u',
r = 1, 2, 3, of each baseline are all that is read from the sets.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from results.statistics.block_sums import SESSION, SET, TESTER, BlockSums
from results.statistics.nesting import Nesting

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Node:
    """One level's nodes: s = 1 + c Q, kappa = c / s and q = 1'S^-1 1 = Q / s, each (nodes,)."""

    s: Floats
    kappa: Floats
    q: Floats


@dataclass(frozen=True)
class _Weights:
    alpha: Floats
    baseline: _Node
    session: _Node
    tester: _Node


@dataclass(frozen=True)
class _Upward:
    """For v' S^-1 v going up: children's sums G a session and a tester, and the block's whole."""

    baseline: Floats
    session: Floats
    tester: Floats
    whole: Floats


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

    def sums(self, theta: Floats) -> BlockSums:
        weights = self._weights(theta)
        moments = self._moments(weights.alpha)
        up = self._upward(weights, moments[0][:, 0], moments[0])
        m = self._shift(weights, moments[0][:, 0], up)
        trace, trace_of_pair = self._traces(weights, moments)
        slope, bend = self._products(weights, moments, up, m)
        return BlockSums(
            self._log_determinant(weights), up.whole, trace, slope, trace_of_pair, bend
        ).columns(self.first)

    def solve(self, theta: Floats) -> Floats:
        """M^-1 [1, X, y], (k, m)."""
        weights = self._weights(theta)
        moment = self._moments(weights.alpha)[0]
        up = self._upward(weights, moment[:, 0], moment)
        m = self._shift(weights, moment[:, 0], up)
        solved = weights.alpha[:, None] * (self.columns - m[self.nesting.baseline_of_set])
        return np.asarray(solved)

    @cached_property
    def _products_of_columns(self) -> Floats:
        rows, columns = np.triu_indices(self.columns.shape[1])
        return self.columns[:, rows] * self.columns[:, columns]

    @cached_property
    def _place_of_product(self) -> NDArray[np.intp]:
        m = self.columns.shape[1]
        rows, columns = np.triu_indices(m)
        place = np.empty((m, m), dtype=np.intp)
        place[rows, columns] = place[columns, rows] = np.arange(rows.size)
        return place

    def _moments(self, alpha: Floats) -> tuple[Floats, Floats, Floats]:
        """Sum of alpha^r u u' by baseline for r = 1, 2, 3, each (J, m, m)."""
        first = alpha[:, None] * self._products_of_columns
        second = alpha[:, None] * first
        third = alpha[:, None] * second
        summed = self.nesting.to_baseline @ np.hstack((first, second, third))
        one, two, three = np.split(summed, 3, axis=1)
        place = self._place_of_product
        return one[:, place], two[:, place], three[:, place]

    def _weights(self, theta: Floats) -> _Weights:
        nesting = self.nesting
        alpha = 1 / (self.own_variance + theta[SET])
        baseline = _node(self.shared_variance, nesting.to_baseline @ alpha)
        session = _node(theta[SESSION], nesting.to_session @ baseline.q)
        tester = _node(theta[TESTER], nesting.to_tester @ session.q)
        return _Weights(alpha, baseline, session, tester)

    def _log_determinant(self, weights: _Weights) -> Floats:
        nesting = self.nesting
        baseline = np.log(weights.baseline.s) - nesting.to_baseline @ np.log(weights.alpha)
        session = np.log(weights.session.s) + nesting.to_session @ baseline
        return np.asarray(np.log(weights.tester.s) + nesting.to_tester @ session)

    def _upward(self, weights: _Weights, one_v: Floats, v_v: Floats) -> _Upward:
        """Climb from sums 1'D v (J, m) and v'D v (J, m, m) by baseline to v'M^-1 v by tester."""
        baseline = one_v / weights.baseline.s[:, None]
        by_baseline = v_v - _weighted_squares(weights.baseline.kappa, one_v)
        session = _gather(self.nesting.to_session, baseline)
        by_session = _gather(self.nesting.to_session, by_baseline) - _weighted_squares(
            weights.session.kappa, session
        )
        tester = _gather(self.nesting.to_tester, session / weights.session.s[:, None])
        whole = _gather(self.nesting.to_tester, by_session) - _weighted_squares(
            weights.tester.kappa, tester
        )
        return _Upward(baseline, session, tester, whole)

    def _shift(self, weights: _Weights, one_v: Floats, up: _Upward) -> Floats:
        """The constant m (J, m) of each baseline in M^-1 u = alpha (u - m)."""
        of_session = self.nesting.session_of_baseline
        of_tester = self.nesting.tester_of_baseline
        into_session = 1 / weights.baseline.s
        into_tester = into_session / weights.session.s[of_session]
        return np.asarray(
            weights.baseline.kappa[:, None] * one_v
            + (weights.session.kappa[of_session] * into_session)[:, None] * up.session[of_session]
            + (weights.tester.kappa[of_tester] * into_tester)[:, None] * up.tester[of_tester]
        )

    def _by_session(self, weights: _Weights, up: _Upward) -> Floats:
        """1'M^-1 v summed over the sets of each session, (S, m)."""
        of_tester = self.nesting.tester_of_session
        return np.asarray(
            up.session / weights.session.s[:, None]
            - (weights.tester.kappa[of_tester] * weights.session.q)[:, None] * up.tester[of_tester]
        )

    def _products(
        self,
        weights: _Weights,
        moments: tuple[Floats, Floats, Floats],
        up: _Upward,
        m: Floats,
    ) -> tuple[Floats, Floats]:
        """slope and bend of BlockSums, from W = M^-1 U = alpha (U - m)."""
        nesting = self.nesting
        _, two, three = moments
        over_sets = _gather(nesting.to_session, _centred(two, m))
        session = self._by_session(weights, up)
        tester = up.tester / weights.tester.s[:, None]
        slope = np.stack(
            (
                _squares(tester),
                _gather(nesting.to_tester, _squares(session)),
                _gather(nesting.to_tester, over_sets),
            ),
            axis=1,
        )
        again = self._upward(weights, two[:, 0] - two[:, 0, :1] * m, _centred(three, m))
        again_session = self._by_session(weights, again)
        again_tester = again.tester / weights.tester.s[:, None]
        spread = _gather(nesting.to_tester, weights.session.q[:, None] * session)
        bend = np.empty((*slope.shape[:2], 3, *slope.shape[2:]))
        bend[:, TESTER, TESTER] = weights.tester.q[:, None, None] * _squares(tester)
        bend[:, TESTER, SESSION] = _symmetric(spread / weights.tester.s[:, None], tester)
        bend[:, TESTER, SET] = _symmetric(again_tester, tester)
        bend[:, SESSION, SESSION] = _gather(
            nesting.to_tester, _weighted_squares(weights.session.q, session)
        ) - _weighted_squares(weights.tester.kappa, spread)
        bend[:, SESSION, SET] = _gather(nesting.to_tester, _symmetric(again_session, session))
        bend[:, SET, SET] = again.whole
        for c, d in ((SESSION, TESTER), (SET, TESTER), (SET, SESSION)):
            bend[:, c, d] = bend[:, d, c]
        return slope, bend

    def _traces(
        self, weights: _Weights, moments: tuple[Floats, Floats, Floats]
    ) -> tuple[Floats, Floats]:
        """trace and trace_of_pair of BlockSums: squares of the entries of Z_c' M^-1 Z_d."""
        nesting = self.nesting
        q, kappa = weights.session.q, weights.tester.kappa
        s_t = weights.tester.s
        lengths = self._squared_lengths(weights, moments)
        by_tester = _gather(nesting.to_tester, np.stack((q**2, q**3, q * lengths.gamma), axis=1))
        q2, q3, q_gamma = by_tester.T
        gamma = nesting.to_tester @ lengths.gamma
        trace = np.stack((weights.tester.q, nesting.to_tester @ q - kappa * q2, lengths.trace), 1)
        pair = np.empty((*trace.shape, 3))
        pair[:, TESTER, TESTER] = weights.tester.q**2
        pair[:, TESTER, SESSION] = pair[:, SESSION, TESTER] = q2 / s_t**2
        pair[:, TESTER, SET] = pair[:, SET, TESTER] = gamma / s_t**2
        pair[:, SESSION, SESSION] = q2 - 2 * kappa * q3 + (kappa * q2) ** 2
        pair[:, SESSION, SET] = pair[:, SET, SESSION] = (
            gamma - 2 * kappa * q_gamma + kappa**2 * q2 * gamma
        )
        pair[:, SET, SET] = lengths.trace_of_square
        return trace, pair

    def _squared_lengths(
        self, weights: _Weights, moments: tuple[Floats, Floats, Floats]
    ) -> "_SquaredLengths":
        """M^-1 = D - sum of kappa w w' with w of baseline, session and tester; traces from w'w."""
        nesting = self.nesting
        a1, a2, a3 = (moment[:, 0, 0] for moment in moments)
        k_b, k_s, k_t = weights.baseline.kappa, weights.session.kappa, weights.tester.kappa
        s_b, s_s = weights.baseline.s, weights.session.s
        k_s_of_baseline = k_s[nesting.session_of_baseline]
        s_s_of_baseline = s_s[nesting.session_of_baseline]
        k_t_of_baseline = k_t[nesting.tester_of_baseline]
        into_session = a2 / s_b**2
        by_session = nesting.to_session @ into_session
        gamma = by_session / s_s**2
        gamma_of_tester = nesting.to_tester @ gamma
        shrinkage = k_b + k_s_of_baseline / s_b**2 + k_t_of_baseline / (s_b * s_s_of_baseline) ** 2
        crossed = (
            (k_b * a2) ** 2
            + 2 * k_b * k_s_of_baseline * (a2 / s_b) ** 2
            + 2 * k_b * k_t_of_baseline * (a2 / (s_b * s_s_of_baseline)) ** 2
        )
        within = nesting.to_session @ np.stack(
            (a1 - shrinkage * a2, a2 - 2 * shrinkage * a3 + crossed), axis=1
        )
        k_t_of_session = k_t[nesting.tester_of_session]
        within[:, 1] += (k_s * by_session) ** 2
        within[:, 1] += 2 * k_s * k_t_of_session * (by_session / s_s) ** 2
        trace, square = (nesting.to_tester @ within).T
        return _SquaredLengths(gamma, trace, square + (k_t * gamma_of_tester) ** 2)


@dataclass(frozen=True)
class _SquaredLengths:
    """gamma: squared length of a session's part of the tester's w (S,); tr M^-1, tr M^-2 (T,)."""

    gamma: Floats
    trace: Floats
    trace_of_square: Floats


def _node(variance: Floats | float, children: Floats) -> _Node:
    s = 1 + variance * children
    return _Node(s, variance / s, children / s)


def _gather(to_group: csr_array, values: Floats) -> Floats:
    flat = to_group @ values.reshape(values.shape[0], -1)
    return np.asarray(flat.reshape(-1, *values.shape[1:]))


def _squares(v: Floats) -> Floats:
    return v[:, :, None] * v[:, None, :]


def _weighted_squares(weight: Floats, v: Floats) -> Floats:
    return (weight[:, None] * v)[:, :, None] * v[:, None, :]


def _symmetric(u: Floats, v: Floats) -> Floats:
    product = u[:, :, None] * v[:, None, :]
    return (product + product.transpose(0, 2, 1)) / 2


def _centred(moment: Floats, m: Floats) -> Floats:
    """Sum of weight (u - m)(u - m)' from sum of weight u u', the first column of u being ones."""
    crossed = m[:, :, None] * moment[:, 0, None, :]
    total = moment[:, 0, 0, None, None] * _squares(m)
    return moment - crossed - crossed.transpose(0, 2, 1) + total
