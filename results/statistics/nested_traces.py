"""Traces of the restricted likelihood's derivatives under nested rank-one errors, in O(k).

tr(M^-1 K_c M^-1 K_d) is the sum of squares of the entries of Z_c'M^-1 Z_d. With M^-1 written as
D - sum of kappa w w' (see nested_errors) those squares are inner products of the w.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER
from results.statistics.nesting import Nesting

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Node:
    """One level's nodes: s = 1 + c Q, kappa = c / s and q = 1'S^-1 1 = Q / s, each (nodes, g).

    `children` is Q.
    """

    children: Floats
    s: Floats
    kappa: Floats
    q: Floats

    @classmethod
    def over(cls, children: Floats, variance: Floats) -> "Node":
        """Nodes of a variance each over children whose 1'S^-1 1 add up to `children`."""
        s = 1 + variance * children
        return cls(children, s, variance / s, children / s)


@dataclass(frozen=True)
class Levels:
    """alpha (k, g) of the sets, ln of their variances, and the nodes above them."""

    alpha: Floats
    log_variance: Floats
    baseline: Node
    session: Node
    tester: Node

    def log_determinant(self, nesting: Nesting) -> Floats:
        """ln|M| by tester, (T, g)."""
        baseline = np.log(self.baseline.s) + nesting.to_baseline @ self.log_variance
        session = np.log(self.session.s) + nesting.to_session @ baseline
        return np.asarray(np.log(self.tester.s) + nesting.to_tester @ session)


def traces(levels: Levels, nesting: Nesting) -> tuple[Floats, Floats]:
    """tr(M^-1 K_c) (T, g, 3) and tr(M^-1 K_c M^-1 K_d) (T, g, 9), the pairs row by row."""
    q, kappa, s = levels.session.q, levels.tester.kappa, levels.tester.s
    gamma_of_session, of_sets, of_pairs_of_sets = _set_traces(levels, nesting)
    sum_q, q2, q3, q2_gamma, gamma = (
        nesting.to_tester @ each for each in (q, q**2, q**3, q * gamma_of_session, gamma_of_session)
    )
    trace = np.stack((levels.tester.q, sum_q - kappa * q2, of_sets), axis=-1)
    pair = np.empty((*s.shape, 3, 3))
    pair[..., TESTER, TESTER] = levels.tester.q**2
    pair[..., TESTER, SESSION] = pair[..., SESSION, TESTER] = q2 / s**2
    pair[..., TESTER, SET] = pair[..., SET, TESTER] = gamma / s**2
    pair[..., SESSION, SESSION] = q2 - 2 * kappa * q3 + (kappa * q2) ** 2
    pair[..., SESSION, SET] = pair[..., SET, SESSION] = (
        gamma - 2 * kappa * q2_gamma + kappa**2 * q2 * gamma
    )
    pair[..., SET, SET] = of_pairs_of_sets
    return trace, pair.reshape(*s.shape, 9)


def _set_traces(levels: Levels, nesting: Nesting) -> tuple[Floats, Floats, Floats]:
    """Squared length of the tester's w within each session (S, g); tr M^-1 and tr M^-2, (T, g)."""
    alpha = levels.alpha
    a, a2, a3 = (nesting.to_baseline @ alpha**power for power in (1, 2, 3))
    k_baseline, k_session = levels.baseline.kappa, levels.session.kappa
    k_tester = levels.tester.kappa[nesting.tester_of_session]
    s_session = levels.session.s
    above = nesting.session_of_baseline
    into_session = 1 / levels.baseline.s
    into_tester = into_session / s_session[above]
    shrinkage = k_baseline + k_session[above] * into_session**2 + k_tester[above] * into_tester**2
    crossed = a2**2 * k_baseline * (2 * shrinkage - k_baseline)
    trace, square, length = (
        nesting.to_session @ each
        for each in (a - shrinkage * a2, a2 - 2 * shrinkage * a3 + crossed, a2 * into_session**2)
    )
    gamma = length / s_session**2
    square = square + k_session * length * (k_session * length + 2 * k_tester * gamma)
    trace, square, whole = (nesting.to_tester @ each for each in (trace, square, gamma))
    return gamma, trace, square + (levels.tester.kappa * whole) ** 2
