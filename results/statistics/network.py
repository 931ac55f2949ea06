"""All joins of a line pair in one model of their contrasts, with a check of its consistency.

Model: Lu & Ades (2004), Statistics in Medicine 23:3105-3124. One tau2 for every contrast, with
correlation 1/2 among the contrasts of a baseline: a baseline and a set component of tau2/2 each
in the nested model of the pool. Intervals of differences are CR2 with Satterthwaite degrees of
freedom, testers as clusters, so that they hold though a tester's sessions resemble one another.
Consistency: side-splitting, the gap between direct and indirect evidence shared evenly by the
two joins (White 2015, Stata J. 15:951-985, the symmetrical method).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.stats import norm
from scipy.stats import t as student_t

from results.statistics.block_sums import SESSION, SET, BlockSums
from results.statistics.cluster_robust import ClusterRobust, cluster_robust
from results.statistics.components import Maximum, along, likelihood_at, maximise
from results.statistics.contrasts import Contrasts
from results.statistics.errors import Disconnected, TooFewTesters
from results.statistics.heterogeneity import Homogeneity, homogeneity
from results.statistics.leave_one_out import SMALL
from results.statistics.linear import inverse
from results.statistics.multiplicity import holm
from results.statistics.nested_errors import NestedErrors
from results.statistics.nesting import nest
from results.statistics.quantiles import t_quantile
from results.statistics.restricted_likelihood import restricted_likelihoods

Floats = NDArray[np.float64]

Pair = tuple[int, int]

LEAST_TESTERS = 3
FEW = 500
"""Contrasts up to which the network is fitted again for each pair's inconsistency."""
TOGETHER = 12
"""Pairs whose columns are summed at once; more would cost more for what they have with others."""
HELD = 1e-9
"""What is left of a column, relative, below which others hold it."""
HALVES = np.array([[0.0, 0.5, 0.5]])


NO_SCATTER = 1e-9
"""Standard error on the log scale below which a difference rests on one comparison alone: the fit
goes through it, and nothing is left to tell an error from."""


@dataclass(frozen=True)
class Difference:
    """`first` less `second` on the log scale.

    `p` and the interval are of this difference alone, `p_holm` is adjusted (Holm 1979) for all
    differences of the network: equal joins are found to differ by `p_holm` at 0.05 in at most 5
    of 100 line pairs, and by `p` in 30 where there are five joins.
    """

    first: str
    second: str
    difference: float
    se: float
    df: float
    ci_low: float
    ci_high: float
    p: float
    p_holm: float


@dataclass(frozen=True)
class Inconsistency:
    """Direct less indirect difference of two joins, its model standard error and normal p."""

    first: str
    second: str
    difference: float
    se: float
    p: float


@dataclass(frozen=True)
class Network:
    """J joins against the first of them, the reference (estimate zero).

    `estimate` (J,), `covariance` of the model and `robust_covariance` (CR2), both (J, J);
    `differences` holds every pair; `inconsistencies` every pair with direct and indirect
    evidence; `common` is the fit without tau2 and the Q of contrasts about it.
    """

    joins: tuple[str, ...]
    estimate: Floats
    covariance: Floats
    robust_covariance: Floats
    differences: tuple[Difference, ...]
    inconsistencies: tuple[Inconsistency, ...]
    tau2: float
    restricted_loglik: float
    common: Homogeneity

    @property
    def degrees_of_freedom(self) -> Floats:
        """Those of the difference of each two joins, (J, J); infinite on the diagonal."""
        found = np.full((len(self.joins), len(self.joins)), np.inf)
        for one in self.differences:
            i, j = self.joins.index(one.first), self.joins.index(one.second)
            found[i, j] = found[j, i] = one.df
        return found


def network(contrasts: Contrasts, reference: str) -> Network:
    """Fit all contrasts at once, every join measured against `reference`.

    A difference that rests on one comparison alone has no robust error and is left out.
    Raises TooFewTesters (fewer than three), Disconnected, NotNested, NoConvergence.
    """
    joins = _joined(contrasts, reference)
    testers = np.unique(contrasts.tester).size
    if testers < LEAST_TESTERS:
        raise TooFewTesters(f"a comparison needs {LEAST_TESTERS} testers; there are {testers}")
    model = _model(contrasts, joins, np.empty((contrasts.y.size, 0)))
    best = _fit(model)
    likelihood = best.likelihood
    lead = np.eye(len(joins))[:, 1:]
    pairs = list(combinations(range(len(joins)), 2))
    robust = cluster_robust(
        model.blocks(best.theta),
        model.design,
        model.columns[:, -1] - model.design @ likelihood.beta,
        likelihood.covariance,
        combinations=np.array([lead[i] - lead[j] for i, j in pairs]),
    )
    # Pairs begin with the reference against each other join in turn: less the estimates.
    against_reference = robust.covariance[: len(joins) - 1, : len(joins) - 1]
    estimate = lead @ likelihood.beta
    return Network(
        joins=joins,
        estimate=estimate,
        covariance=lead @ likelihood.covariance @ lead.T,
        robust_covariance=lead @ against_reference @ lead.T,
        differences=_differences(joins, pairs, estimate, robust),
        inconsistencies=tuple(_inconsistencies(contrasts, joins, best)),
        tau2=float(best.theta[SESSION] + best.theta[SET]),
        restricted_loglik=likelihood.value,
        common=homogeneity(model),
    )


def gap_to_pools(
    found: Network, mu: NDArray[np.float64], se: NDArray[np.float64]
) -> tuple[Floats, Floats]:
    """Network estimates less differences of pooled log efficiencies from the reference's, (J,).

    `mu` and `se` (J,) are each join's own pool, in the network's order. The second array is the
    standard error of the gap as if the two were independent: they share pulls, so it is too
    large, and a gap of twice its size is more than chance.
    """
    gap = found.estimate - (mu - mu[0])
    error = np.sqrt(np.diag(found.robust_covariance) + se**2 + se[0] ** 2)
    error[0] = 0
    return gap, error


def _joined(contrasts: Contrasts, reference: str) -> tuple[str, ...]:
    names = np.unique(np.concatenate((contrasts.treatment, contrasts.base)))
    a, b = np.searchsorted(names, contrasts.treatment), np.searchsorted(names, contrasts.base)
    links = coo_array((np.ones(a.size), (a, b)), shape=(names.size, names.size))
    parts, part = connected_components(links, directed=False)
    if reference not in names:
        raise Disconnected(f"{reference} was never compared with another join on one baseline")
    if parts > 1:
        home = part[np.searchsorted(names, reference)]
        apart = ", ".join(names[part != home])
        raise Disconnected(f"no chain of comparisons leads from {reference} to {apart}")
    return (reference, *(str(name) for name in names if name != reference))


def _model(contrasts: Contrasts, joins: tuple[str, ...], extra: Floats) -> NestedErrors:
    nesting = nest(contrasts.tester, contrasts.baseline, contrasts.baseline)
    shared = np.empty(nesting.session_of_baseline.size)
    shared[nesting.baseline_of_set] = contrasts.shared_variance
    design = _indicator(contrasts.treatment, joins) - _indicator(contrasts.base, joins)
    columns = np.column_stack((np.ones(contrasts.y.size), design[:, 1:], extra, contrasts.y))
    return NestedErrors(nesting, contrasts.own_variance, shared, columns, first=1)


def _indicator(join: NDArray[np.str_], joins: tuple[str, ...]) -> Floats:
    return np.asarray(join[:, None] == np.array(joins), dtype=np.float64)


def _fit(model: NestedErrors) -> Maximum:
    return _climbed(model, np.array([np.var(model.columns[:, -1])]))


def _climbed(model: NestedErrors, start: Floats) -> Maximum:
    best = maximise(along(likelihood_at(model), HALVES), start, np.array([True]))
    return replace(best, theta=best.theta @ HALVES)


def _differences(
    joins: tuple[str, ...], pairs: list[Pair], estimate: Floats, robust: ClusterRobust
) -> tuple[Difference, ...]:
    se, df = robust.standard_error, robust.degrees_of_freedom
    known = np.flatnonzero((se > NO_SCATTER) & np.isfinite(df))
    first, second = np.array(pairs, dtype=np.intp)[known].T
    value, se, df = estimate[first] - estimate[second], se[known], df[known]
    reach = t_quantile(0.975, df) * se
    p = np.asarray(2 * student_t.sf(np.abs(value) / se, df))
    columns = (value, se, df, value - reach, value + reach, p, holm(p))
    return tuple(
        Difference(joins[i], joins[j], *numbers)
        for i, j, *numbers in zip(first, second, *(each.tolist() for each in columns), strict=True)
    )


def _inconsistencies(
    contrasts: Contrasts, joins: tuple[str, ...], best: Maximum
) -> Iterator[Inconsistency]:
    """Of each pair with direct and indirect evidence, from the fit of the whole network."""
    splits = _splits(contrasts, joins)
    pairs = list(splits)
    few = contrasts.y.size <= FEW
    for first in range(0, len(pairs), TOGETHER):
        some = pairs[first : first + TOGETHER]
        columns = np.column_stack([splits[pair] for pair in some])
        gaps = [None] * len(some) if few else _gaps(_model(contrasts, joins, columns), some, best)
        for (i, j), column, gap in zip(some, columns.T, gaps, strict=True):
            difference, se = gap or _refitted(_model(contrasts, joins, column[:, None]), best)
            p = float(2 * norm.sf(abs(difference) / se))
            yield Inconsistency(joins[i], joins[j], difference, se, p)


def _splits(contrasts: Contrasts, joins: tuple[str, ...]) -> dict[Pair, Floats]:
    """The column of each pair's gap, where the differences between the joins don't hold it."""
    treatment, base = _indicator(contrasts.treatment, joins), _indicator(contrasts.base, joins)
    of_baseline = np.unique(contrasts.baseline, return_inverse=True)[1]
    present = np.zeros((of_baseline.max() + 1, len(joins)))
    np.maximum.at(present, of_baseline, treatment + base)
    held = np.linalg.qr((treatment - base)[:, 1:])[0]
    found = {}
    for i, j in combinations(range(len(joins)), 2):
        both = (present[:, i] * present[:, j])[of_baseline]
        shared_evenly = ((treatment - base)[:, i] - (treatment - base)[:, j]) / 2 * both
        left = shared_evenly - held @ (held.T @ shared_evenly)
        if np.linalg.norm(left) > HELD * np.linalg.norm(shared_evenly):
            found[i, j] = shared_evenly
    return found


def _refitted(model: NestedErrors, near: Maximum) -> tuple[float, float]:
    """The last coefficient and its model standard error."""
    start = np.array([near.theta[SESSION] + near.theta[SET]])
    likelihood = _climbed(model, start).likelihood
    return float(likelihood.beta[-1]), float(np.sqrt(likelihood.covariance[-1, -1]))


def _gaps(
    model: NestedErrors, pairs: list[Pair], best: Maximum
) -> list[tuple[float, float] | None]:
    """As `_refitted` for each pair's column of the model, without a fit of its own.

    As in `leave_one_out`: one Newton step of tau2 on the sums at the network's own, and from
    there U'M^-1 U by its second-order expansion. None where the step is not small.
    """
    shared = model.design.shape[1] - len(pairs)
    picks = [[*range(shared), shared + place, -1] for place in range(len(pairs))]
    (whole,) = [model.totals(best.theta[None])]
    cross, slope, bend = (
        np.stack([term[0][..., pick, :][..., pick] for pick in picks])
        for term in (whole.cross, whole.slope, whole.bend)
    )
    sums = BlockSums(whole.log_determinant, cross, whole.trace, slope, whole.trace_of_pair, bend)
    sets, no_constant = np.array(model.sets), np.array(0.0)
    along_tau2 = HALVES[0]
    found: list[tuple[float, float] | None] = []
    for place, here in enumerate(restricted_likelihoods(sums, sets, no_constant)):
        score = float(along_tau2 @ here.score)
        information = float(along_tau2 @ here.observed @ along_tau2)
        held = not best.theta.any() and score <= 0
        step = 0.0 if held else score / information
        tau2 = float(best.theta.sum()) + step
        if not held and (information <= 0 or tau2 < 0 or step * score > SMALL):
            found.append(None)
            continue
        there = (
            cross[place]
            - step * np.tensordot(along_tau2, slope[place], 1)
            + step**2 * np.einsum("c,d,cdij->ij", along_tau2, along_tau2, bend[place])
        )
        covariance = inverse(there[:-1, :-1])
        beta = covariance @ there[:-1, -1]
        found.append((float(beta[-1]), float(np.sqrt(covariance[-1, -1]))))
    return found
