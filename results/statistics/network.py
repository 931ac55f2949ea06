"""All joins of a line pair in one model of their contrasts, with a check of its consistency.

Model: Lu & Ades (2004), Statistics in Medicine 23:3105-3124. One tau2 for every contrast, with
correlation 1/2 among the contrasts of a baseline: a baseline and a set component of tau2/2 each
in the nested model of the pool. Intervals of differences are CR2 with Satterthwaite degrees of
freedom, testers as clusters, so that they hold though a tester's sessions resemble one another.
Consistency: side-splitting, the gap between direct and indirect evidence shared evenly by the
two joins (White 2015, Stata J. 15:951-985, the symmetrical method).
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.stats import norm
from scipy.stats import t as student_t

from results.statistics.block_sums import SESSION, SET
from results.statistics.cluster_robust import cluster_robust
from results.statistics.components import Maximum, along, likelihood_at, maximise
from results.statistics.contrasts import Contrasts
from results.statistics.errors import Disconnected, TooFewTesters
from results.statistics.heterogeneity import Homogeneity, homogeneity
from results.statistics.nested_errors import NestedErrors
from results.statistics.nesting import nest

Floats = NDArray[np.float64]

LEAST_TESTERS = 3
HALVES = np.array([[0.0, 0.5, 0.5]])


NO_SCATTER = 1e-9
"""Standard error on the log scale below which a difference rests on one comparison alone: the fit
goes through it, and nothing is left to tell an error from."""


@dataclass(frozen=True)
class Difference:
    """`first` less `second` on the log scale."""

    first: str
    second: str
    difference: float
    se: float
    df: float
    ci_low: float
    ci_high: float
    p: float


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

    A difference that rests on one comparison alone has no robust error and is not told.
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
        differences=tuple(
            _difference(joins[i], joins[j], float(estimate[i] - estimate[j]), float(se), float(df))
            for (i, j), se, df in zip(
                pairs, robust.standard_error, robust.degrees_of_freedom, strict=True
            )
            if se > NO_SCATTER
        ),
        inconsistencies=tuple(_inconsistencies(contrasts, joins)),
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
    at = along(likelihood_at(model), HALVES)
    start = np.array([np.var(model.columns[:, -1])])
    best = maximise(at, start, np.array([True]))
    return replace(best, theta=best.theta @ HALVES)


def _difference(first: str, second: str, value: float, se: float, df: float) -> Difference:
    reach = float(student_t.ppf(0.975, df)) * se
    p = float(2 * student_t.sf(abs(value) / se, df))
    return Difference(first, second, value, se, df, value - reach, value + reach, p)


def _inconsistencies(contrasts: Contrasts, joins: tuple[str, ...]) -> list[Inconsistency]:
    treatment, base = _indicator(contrasts.treatment, joins), _indicator(contrasts.base, joins)
    of_baseline = np.unique(contrasts.baseline, return_inverse=True)[1]
    present = np.zeros((of_baseline.max() + 1, len(joins)))
    np.maximum.at(present, of_baseline, treatment + base)
    found = []
    for i, j in combinations(range(len(joins)), 2):
        both = (present[:, i] * present[:, j])[of_baseline]
        shared_evenly = ((treatment - base)[:, i] - (treatment - base)[:, j]) / 2 * both
        model = _model(contrasts, joins, shared_evenly[:, None])
        if np.linalg.matrix_rank(model.design) < model.design.shape[1]:
            continue
        likelihood = _fit(model).likelihood
        difference = float(likelihood.beta[-1])
        se = float(np.sqrt(likelihood.covariance[-1, -1]))
        p = float(2 * norm.sf(abs(difference) / se))
        found.append(Inconsistency(joins[i], joins[j], difference, se, p))
    return found
