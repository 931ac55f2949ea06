"""One model from pulls to pool: what the combination holds, and what the join itself does.

    ln load of a straight pull of baseline b:  beta_b + e,                     sd s_b
    ln load of a joined pull of a set:         beta_b + theta + tester + session + set + e,  sd s_j

For the combination a pull is 'at least' where a grip parted or nothing did; for the join itself
also where the line or a terminal parted. All levels beta and theta have flat priors, so that
variances are those of the restricted likelihood. Two stages need three failures at the join in
every set, and lose or bend the others; here one pool's pulls tell the scatter together.

A set whose line parts first shows the lower part of its join's strengths alone, so that their mean
depends on the family assumed for the rest. The join itself is therefore fitted with lognormal and
with Weibull strengths, and the two are averaged by their likelihoods (Buckland, Burnham & Augustin
1997, Biometrics 53:603-618), with what they differ by in the standard error.

With a flat prior the mean of theta lies above its most likely value where many pulls are censored:
the likelihood falls slowly on the side of joins that nearly always outlast. So theta has Jeffreys'
prior instead, the root of the share of pulls that part at the join (as Firth 1993, Biometrika
80:27-38, has a maximum), averaged over with the estimate's error; the interval moves along. In
simulated pools, half of whose pulls part in the line (five a set, testers from t on 4 degrees of
freedom), the bias in percent without and with it, and its Monte Carlo error:

    testers, joins      flat            Jeffreys
    3, lognormal        +0.7 (0.3)      -0.2
    3, Weibull          +1.5 (0.3)      +0.7
    5, lognormal        +0.0 (0.2)      -0.3
    5, Weibull          +0.8 (0.3)      +0.4
    10, lognormal       -0.4 (0.3)      -0.5
    10, Weibull         -0.1 (0.2)      -0.3

In 145 to 303 other pools with Weibull joins it is +0.3 (0.2), +0.2 (0.1) and +0.5 (0.2) for 3, 5
and 10 testers, and covers 98 to 99. By the likelier family alone it is as much, +0.3, +0.1 and
+0.5, and by the Weibull alone, which no one knows to be true, -0.2, -0.2 and +0.2. With
lognormal joins and ten testers it is +0.2 (0.3). Pages say that it may be off by half a percent.

Where 73 percent part in the line it is +0.9 (0.6) and -0.4 (0.4), and where 91 percent do, so that
few pools come to an estimate, +0.8 (2.0) and -4.5 (0.8) at half-widths of 19.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from results.statistics.censored import checked
from results.statistics.errors import ShapeMismatch, TooFewPulls, TooFewTesters
from results.statistics.one_stage.fits import Fit, Search, fitted, searched
from results.statistics.one_stage.lognormal import LognormalPulls, lognormal_pulls
from results.statistics.one_stage.outlasting import LEAST_FAILURES, lower_bound
from results.statistics.one_stage.tree import Tree, tree_of
from results.statistics.one_stage.weibull import weibull_pulls
from results.statistics.parts import Parts
from results.statistics.pool_fit import LEAST_TESTERS
from results.statistics.quantiles import t_quantile

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Codes = NDArray[np.int64]

OUT_OF_PLAY = 25.0
"""Less ln likelihood than another family's: the weight is then below 1e-10."""
REACH, REACH_POINTS = 6.0, 121  # standard errors either way, over which a prior is averaged


@dataclass(frozen=True)
class Estimate:
    """A log efficiency with its 95 percent interval, and the scatter it was found with.

    It is ln of the mean load of joined over straight pulls, of the mean tester. `exact` of `pulls`
    joined pulls parted at what is measured. `cv_*` are of pulls within a set and a baseline.
    `weibull` is the weight of Weibull strengths beside lognormal ones.
    """

    pulls: int
    exact: int
    log_efficiency: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float
    tau_tester: float
    tau_session: float
    tau_set: float
    cv_joined: float
    cv_straight: float
    weibull: float


@dataclass(frozen=True)
class OneStage:
    """Both estimands of a pool, side by side.

    `join_outlasts` is a 95 percent lower bound of the join's own log efficiency where there is no
    estimate of it: too few pulls parted at the join, or their likelihood has no maximum.
    `not_estimable` says why a part is None: 'combination', 'join' or 'join_outlasts'.
    """

    combination: Estimate | None
    join: Estimate | None
    join_outlasts: float | None
    not_estimable: dict[str, str]


@dataclass(frozen=True)
class Loads:
    """n pulls: loads in newtons, whether each is exact or 'at least', and the group of each."""

    load_N: ArrayLike
    exact: ArrayLike
    group: ArrayLike


def one_stage(
    tester: ArrayLike,
    session: ArrayLike,
    baseline: ArrayLike,
    straight: Loads,
    combination: Loads,
    join: Loads,
) -> OneStage:
    """Both estimands of k sets with codes of tester, session and baseline, (k,) each.

    `straight` are grouped by baseline code. `combination` and `join` are the same joined pulls,
    grouped by set, 0 to k - 1, each with what is exact for it (`failure_modes`).

    Raises ShapeMismatch, NotFinite, NotPositive, NotNested, TooFewTesters (fewer than three) and
    TooFewPulls (a set without pulls, a baseline without one that parted in the line).
    """
    tree = tree_of(tester, session, baseline)
    if tree.tester.size < LEAST_TESTERS:
        raise TooFewTesters(
            f"a pooled figure needs {LEAST_TESTERS} testers; there are {tree.tester.size}"
        )
    of_straight = _straight(tree, straight)
    parts = Parts()
    of_both = _joined(tree, combination)
    beside = parts.take("combination", lambda: _combination(tree, of_straight, *of_both), None)
    held = None
    if beside is not None:
        held = parts.take("combination", lambda: _averaged([fitted(beside)], of_both[1]), None)
    y, exact, group = _joined(tree, join)
    own = parts.take("join", lambda: _join(tree, of_straight, y, exact, group, beside), None)
    bound = None
    if own is None:
        joined = lognormal_pulls(y, exact, group, tree.sets)
        bound = parts.take("join_outlasts", lambda: lower_bound(tree, joined, of_straight), None)
    return OneStage(held, own, bound, parts.not_estimable)


def _straight(tree: Tree, pulls: Loads) -> LognormalPulls:
    y, exact, code = _checked(pulls)
    known = np.isin(code, tree.baseline)
    y, exact, code = y[known], exact[known], code[known]
    sorted_ = np.argsort(tree.baseline)
    group = sorted_[np.searchsorted(tree.baseline, code, sorter=sorted_)]
    found = lognormal_pulls(y, exact, group, tree.baseline.size)
    if (found.number == 0).any():
        lacking = int(tree.baseline[np.argmin(found.number)])
        raise TooFewPulls(f"no straight pull of baseline {lacking} parted in the line")
    return found


def _joined(tree: Tree, pulls: Loads) -> tuple[Floats, Booleans, NDArray[np.intp]]:
    y, exact, place = _checked(pulls)
    if place.size and (place.min() < 0 or place.max() >= tree.sets):
        raise ShapeMismatch(f"joined pulls name sets beyond the {tree.sets} there are")
    group = np.argsort(tree.order)[place]
    counts = np.bincount(group, minlength=tree.sets)
    if (counts == 0).any():
        raise TooFewPulls(f"set {int(tree.order[np.argmin(counts)])} has no joined pull")
    return y, exact, group


def _checked(pulls: Loads) -> tuple[Floats, Booleans, Codes]:
    load, exact = checked(pulls.load_N, pulls.exact)
    group = np.asarray(pulls.group, dtype=np.int64)
    if group.shape != load.shape:
        raise ShapeMismatch(f"{load.size} loads come with {group.size} groups")
    return np.log(load), exact, group


def _combination(
    tree: Tree, straight: LognormalPulls, y: Floats, exact: Booleans, group: NDArray[np.intp]
) -> Search:
    joined = lognormal_pulls(y, exact, group, tree.sets)
    return searched(tree, joined, straight, joined)


def _join(
    tree: Tree,
    straight: LognormalPulls,
    y: Floats,
    exact: Booleans,
    group: NDArray[np.intp],
    beside: Search | None,
) -> Estimate:
    if exact.sum() < LEAST_FAILURES:
        raise TooFewPulls(
            f"{int(exact.sum())} of {y.size} pulls parted at the join; an estimate needs "
            f"{LEAST_FAILURES}"
        )
    lognormal = lognormal_pulls(y, exact, group, tree.sets)
    weibull = weibull_pulls(y, exact, group, tree.sets)
    first = searched(tree, lognormal, straight, lognormal, beside)
    searches = [first, searched(tree, weibull, straight, lognormal, first)]
    least = max(each.loglik for each in searches) - OUT_OF_PLAY
    found = _averaged([fitted(each) for each in searches if each.loglik > least], exact)
    return found if exact.all() else _by_jeffreys(found)


def _by_jeffreys(flat: Estimate) -> Estimate:
    """An estimate of the join itself with Jeffreys' prior in place of the flat one."""
    scatter = math.hypot(
        flat.cv_joined, flat.cv_straight, flat.tau_tester, flat.tau_session, flat.tau_set
    )
    errors = np.linspace(-REACH, REACH, REACH_POINTS)
    level = flat.log_efficiency + errors * flat.standard_error
    parting = norm.logcdf(-level / scatter) / 2
    weight = np.exp(parting - parting.max() - errors**2 / 2)
    shift = flat.standard_error * float(weight @ errors / weight.sum())
    return replace(
        flat,
        log_efficiency=flat.log_efficiency + shift,
        low=flat.low + shift,
        high=flat.high + shift,
    )


def _averaged(fits: Sequence[Fit], exact: Booleans) -> Estimate:
    """One estimate from fits of different families, weighted by their likelihoods."""
    loglik = np.array([fit.loglik for fit in fits])
    weight = np.exp(loglik - loglik.max())
    weight /= weight.sum()
    each = np.array([fit.log_efficiency for fit in fits])
    errors = np.array([fit.spread.robust for fit in fits])
    mean = float(weight @ each)
    error = math.sqrt(float(weight @ (errors**2 + (each - mean) ** 2)))
    freedom = float(weight @ np.array([fit.spread.degrees_of_freedom for fit in fits]))
    reach = float(t_quantile(0.975, freedom)) * error
    tau = weight @ np.array([fit.tau for fit in fits])
    return Estimate(
        pulls=exact.size,
        exact=int(exact.sum()),
        log_efficiency=mean,
        standard_error=error,
        degrees_of_freedom=freedom,
        low=mean - reach,
        high=mean + reach,
        tau_tester=float(tau[0]),
        tau_session=float(tau[1]),
        tau_set=float(tau[2]),
        cv_joined=float(weight @ np.array([fit.cv_joined for fit in fits])),
        cv_straight=float(weight @ np.array([fit.cv_straight for fit in fits])),
        weibull=float(weight @ np.array([fit.weibull for fit in fits])),
    )
