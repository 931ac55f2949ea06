"""Sets within baselines within sessions within testers, each level lying together in order.

The covariance M of the sets' values has nested rank-one terms, so that its inverse and determinant
follow from the sets upwards by the formula of Sherman & Morrison (1950), Annals of Mathematical
Statistics 21:124-127, in O(k): see `nested_sums`, whose notation this keeps.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotEstimable
from results.statistics.nesting import Codes, nest

Floats = NDArray[np.float64]

LOG_2PI = math.log(2 * math.pi)


@dataclass(frozen=True)
class Tree:
    """k sets of J baselines of S sessions of T testers, in order of tester, session, baseline.

    `order` (k,) leads from the sets as they were given to that order; `baseline` (J,) and
    `tester` (T,) hold the codes. `to_*` hold the first child of each node.
    """

    order: Codes
    baseline: NDArray[np.int64]
    tester: NDArray[np.int64]
    baseline_of_set: Codes
    session_of_baseline: Codes
    tester_of_session: Codes
    to_baseline: Codes
    to_session: Codes
    to_tester: Codes

    @property
    def sets(self) -> int:
        return self.order.size

    @property
    def tester_of_baseline(self) -> Codes:
        return self.tester_of_session[self.session_of_baseline]

    @property
    def tester_of_set(self) -> Codes:
        return self.tester_of_baseline[self.baseline_of_set]


def tree_of(tester: ArrayLike, session: ArrayLike, baseline: ArrayLike) -> Tree:
    """Read three code arrays (k,) as a tree; raises NotNested and ShapeMismatch as `nest`."""
    nest(tester, session, baseline)
    codes = [np.asarray(level, dtype=np.int64) for level in (tester, session, baseline)]
    order = np.lexsort(codes[::-1])
    of_tester, of_session, of_baseline = (level[order] for level in codes)
    to_baseline, baseline_of_set = _runs(of_baseline)
    to_session, session_of_baseline = _runs(of_session[to_baseline])
    to_tester, tester_of_session = _runs(of_tester[to_baseline][to_session])
    return Tree(
        order,
        of_baseline[to_baseline],
        of_tester[to_baseline][to_session][to_tester],
        baseline_of_set,
        session_of_baseline,
        tester_of_session,
        to_baseline,
        to_session,
        to_tester,
    )


def _runs(code: NDArray[np.int64]) -> tuple[Codes, Codes]:
    """The first row of each run of equal codes, and the run of each row."""
    new = np.ones(code.size, dtype=bool)
    new[1:] = code[1:] != code[:-1]
    return np.flatnonzero(new), np.cumsum(new) - 1


@dataclass(frozen=True)
class Solved:
    """What a normal model of the sets' values comes to, at its variances.

    `theta` is the mean and `information` 1'M^-1 1. P is M^-1, less what the estimate of theta
    takes where theta has a flat prior. For each node of a level, `pull` is the sum of P y over its
    sets, and `weight` the sum of P's entries; `value` is ln of the (restricted) likelihood.
    `spread` and `middle` of the sets are the variance and mean that all the rest predicts.
    """

    theta: float
    information: float
    value: float
    pull: tuple[Floats, Floats, Floats, Floats]
    weight: tuple[Floats, Floats, Floats, Floats]
    middle: Floats
    spread: Floats

    def scores(self) -> tuple[Floats, Floats, Floats]:
        """Each tester's, session's and set's part of the slope in its variance component."""
        of_set, _, of_session, of_tester = (
            (pull**2 - weight) / 2 for pull, weight in zip(self.pull, self.weight, strict=True)
        )
        return of_tester, of_session, of_set


def solve(
    tree: Tree, y: Floats, own: Floats, shared: Floats, tau2: Floats, theta: float | None
) -> Solved:
    """Values y (k,) with `own` (k,) and `shared` (J,) variances at tau2 = (tester, session, set).

    `theta` None has a flat prior: the likelihood is then the restricted one (Patterson & Thompson
    1971), less its constant. Raises NotEstimable where the variances leave no information.
    """
    alpha = 1 / (own + tau2[2])
    q1, s1, k1, m1 = _node(tree.to_baseline, alpha, y, shared)
    q2, s2, k2, m2 = _node(tree.to_session, q1 / s1, m1, tau2[1])
    q3, s3, k3, m3 = _node(tree.to_tester, q2 / s2, m2, tau2[0])
    top = q3 / s3
    information = float(top.sum())
    if not information > 0:
        raise NotEstimable("the pulls' loads are too far apart for a likelihood")
    mean = float(top @ m3) / information if theta is None else theta
    in_tester, in_session = tree.tester_of_session, tree.session_of_baseline
    in_baseline = tree.baseline_of_set
    d3 = (m3 - mean) / s3
    d2 = (m2 - m3[in_tester] + d3[in_tester]) / s2
    d1 = (m1 - m2[in_session] + d2[in_session]) / s1
    apart = y - m1[in_baseline] + d1[in_baseline]
    lost = 1 / information if theta is None else 0.0
    f3 = k3 + lost / s3**2
    f2 = k2 + f3[in_tester] / s2**2
    f1 = k1 + f2[in_session] / s1**2
    share = alpha * f1[in_baseline]
    n2, n1 = q2 / s2, q1 / s1
    weight = (
        alpha * (1 - share),
        n1 - n1**2 * f2[in_session],
        n2 - n2**2 * f3[in_tester],
        top - lost * top**2,
    )
    pull = (alpha * apart, q1 * d1, q2 * d2, q3 * d3)
    determinant = sum(float(np.log(s).sum()) for s in (s1, s2, s3)) - float(np.log(alpha).sum())
    square = float((y - mean) @ pull[0])
    rows, flat = tree.sets, 0.0
    if theta is None:
        rows, flat = rows - 1, math.log(information)
    return Solved(
        theta=mean,
        information=information,
        value=-(rows * LOG_2PI + determinant + flat + square) / 2,
        pull=pull,
        weight=weight,
        middle=y - apart / (1 - share),
        spread=(tau2[2] + own * share) / (1 - share),
    )


def _node(
    starts: Codes, alpha: Floats, mean: Floats, variance: Floats | float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Q, s = 1 + c Q, kappa = c / s and the mean, of nodes with variance c over their children."""
    q = np.add.reduceat(alpha, starts)
    s = 1 + variance * q
    return q, s, variance / s, np.add.reduceat(alpha * mean, starts) / q
