"""What the public functions of the statistics are called with: fits, networks, searches."""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import product

import numpy as np

from deploy.benchmarks.agreement import dense_errors
from results.statistics import (
    apart,
    censored,
    censored_newton,
    censored_profile,
    cluster_robust,
    comparison,
    components,
    contrasts,
    crossed_factors,
    efficiency,
    heterogeneity,
    joint_means,
    meta_regression,
    nested_traces,
    network,
    planning,
    pool_fit,
    ranking,
    restricted_likelihood,
    scatter,
    shrinking,
    woodbury,
    zero_errors,
)
from results.statistics.errors import StatisticsError
from results.statistics.screening import (
    rig,
)
from results.statistics.screening.check import Check, Level
from tests.statistics.hard_inputs import (
    CVS,
    FREEDOM,
    LOADS,
    POOLS,
    VALUES,
)

Calls = Iterator[Callable[[], object]]

MAY_BE_INFINITE = {
    "tau2_tester_interval", "tau2_session_interval", "tau2_set_interval", "H2_interval",
    "tau2_tester_robust_interval",
    "tau2_interval", "total_end", "degrees_of_freedom", "log_determinant",
    "cv_join_high", "cv_baseline_high", "coefficient_of_variation_interval",
}  # fmt: skip
"""Ends that the data set no bound, kept as open; freedom of what is known."""

MAY_BE_MISSING = {
    "se", "df",
    "se_robust", "df_satterthwaite", "ci_low", "ci_high", "prediction_low", "prediction_high",
    "prediction_sd", "tau2_tester_interval", "tau2_session_interval", "tau2_set_interval",
    "tau2_tester_robust_interval",
    "H2", "H2_interval", "I2_tester", "I2_session", "I2_set", "I2_total", "I2_tester_interval",
    "I2_session_interval", "I2_set_interval", "I2_total_interval", "typical_sampling_variance",
}  # fmt: skip
"""Figures of a pool of which `not_estimable` says why they are not numbers."""


def over(function: Callable[..., object], *arguments: object) -> Callable[[], Calls]:
    """Calls with each combination of the values of each argument."""
    return lambda: (partial(function, *chosen) for chosen in product(*arguments))


def of(function: Callable[..., object], rows: list, *more: object) -> Callable[[], Calls]:
    """Calls with each row of arguments."""
    return lambda: (partial(function, *row, *more) for row in rows)


def fits() -> list[pool_fit.PoolFit]:
    found = []
    for columns in POOLS:
        try:
            found.append(pool_fit.fit_pool(*columns))
        except StatisticsError:
            continue
    return found


FITS = fits()


def _crossed() -> Iterator[tuple]:
    rng = np.random.default_rng(3)
    for columns in POOLS:
        products = rng.integers(-1, rng.integers(1, 8), columns[0].size)
        rounds = rng.integers(0, 4, columns[0].size)
        yield (*columns, {"product": products, "round": rounds})


CROSSED = list(_crossed())
"""The same pools with line products and club rounds."""


def _crossed_fits() -> Iterator[pool_fit.PoolFit]:
    for columns in CROSSED:
        try:
            fit = pool_fit.fit_pool(*columns[:-1], crossed=columns[-1])
        except StatisticsError:
            continue
        if fit.factors:
            yield fit


CROSSED_FITS = list(_crossed_fits())


def _both_ways(fit: pool_fit.PoolFit) -> object:
    spread = crossed_factors.over_component(fit.at, fit.best, 0)
    return crossed_factors.both_ways(spread, spread, fit.best)


def _with_levels(fit: pool_fit.PoolFit) -> object:
    theta = fit.best.theta[None]
    wide = fit.model._wide
    sums = wide.summed(fit.model._sums.each_tester(theta[:, :3], None), 1)
    return woodbury.with_levels(sums, wide.own, wide.factors, theta[:, 3:])


def _with_errors(fit: pool_fit.PoolFit) -> object:
    sums = fit.model.sums(np.column_stack((fit.model.columns, fit.model.columns[:, -1])))
    return zero_errors.with_errors(sums.by_tester(fit.best.theta), 1)


def _scales_and_testers(tester: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    codes = np.unique(tester, return_inverse=True)[1]
    return codes, codes


def _zeros(columns: tuple) -> dict[str, object]:
    """By what the zero of each tester's scale moves its sets, where the columns end with that."""
    if len(columns) < 8:
        return {}
    signs = 1 - 2.0 * (np.arange(columns[0].size) % 3 == 0)
    return {"zero": columns[7] * signs, "scale": columns[3]}


LEVELS = [(fit, level) for fit in FITS for level in np.flatnonzero(fit.fitted).tolist()]


def _ends(search: Callable[..., object], *more: object) -> Callable[[], Calls]:
    def found(fit: pool_fit.PoolFit, level: int) -> object:
        extra = [fit.scale for _ in more]
        (end,) = components.search(fit.at, search(fit.best, fit.fitted, level, *extra))
        return components.given(end)

    return of(found, LEVELS)


def _total_end(fit: pool_fit.PoolFit, probability: float) -> object:
    (end,) = components.search(
        fit.at,
        heterogeneity.total_end(fit.best, fit.fitted, fit.common.df, probability, fit.scale),
    )
    return components.given(end)


def _robust(fit: pool_fit.PoolFit, form: cluster_robust.Form) -> object:
    likelihood = fit.best.likelihood
    residual = fit.model.columns[:, -1] - likelihood.beta[0]
    blocks = fit.model.blocks(fit.best.theta)
    found = cluster_robust.cluster_robust(
        blocks, fit.model.design, residual, likelihood.covariance, form
    )
    return found.covariance


def _climbed(search: Callable[..., object]) -> Callable[[], Calls]:
    def found(fit: pool_fit.PoolFit) -> object:
        (end,) = components.search(fit.at, search(fit.best.theta, fit.fitted))
        return components.given(end)

    return over(found, FITS)


def _likelihoods(fit: pool_fit.PoolFit, times: float) -> object:
    sums = fit.model.totals(fit.best.theta[None] * times)
    sets = np.array([fit.model.sets])
    return restricted_likelihood.restricted_likelihoods(sums, sets, np.zeros(1))


def _derivatives(fit: pool_fit.PoolFit) -> object:
    sums, likelihood = fit.model.totals(fit.best.theta[None]), fit.best.likelihood
    residual = np.append(-likelihood.beta, 1.0)[None]
    return restricted_likelihood.derivatives(sums, likelihood.covariance[None], residual)


def _traces(fit: pool_fit.PoolFit) -> object:
    sums = fit.model.sums()
    return nested_traces.traces(sums._levels(fit.best.theta[None], None), fit.model.nesting)


def _dense(columns: tuple) -> object:
    y, own, shared, tester, session, _ = columns
    covariance = []
    for code in np.unique(tester):
        mine = tester == code
        covariance.append(np.diag(own[mine]) + shared[mine].min())
    model = dense_errors.dense_errors(
        np.column_stack((np.ones(y.size), y)), tester, session, covariance
    )
    return model.totals(np.full((1, 3), 0.01))


def _contrasts(columns: tuple, joins: int) -> contrasts.Contrasts:
    y, own, _, tester, _, baseline = columns
    names = np.array(list("ABCDEFGH"))[np.arange(y.size) % joins]
    return contrasts.within_baseline_contrasts(y, own, names, tester, baseline)


def _network(columns: tuple, joins: int) -> network.Network:
    found = _contrasts(columns, joins)
    return network.network(found, str(found.base[0]))


def _network_figures(columns: tuple, joins: int) -> object:
    found = _network(columns, joins)
    return (found.estimate, found.tau2, found.differences, found.inconsistencies)


def _gap(columns: tuple, joins: int) -> object:
    found = _network(columns, joins)
    return network.gap_to_pools(found, np.zeros(len(found.joins)), np.ones(len(found.joins)))


def _rank(columns: tuple, joins: int) -> object:
    found = _network(columns, joins)
    return ranking.rank(found.estimate, found.robust_covariance, 4.0)


def _steadied(error: float, other: float, df: float) -> object:
    return joint_means.steadied(np.array([error, other]), np.array([df, 2.0]), np.array([3.0, 9.0]))


def _correlation(fit: pool_fit.PoolFit, other: pool_fit.PoolFit) -> object:
    return joint_means.correlation_of_means(
        [joint_means.scores_by_tester(fit), joint_means.scores_by_tester(other)]
    )


def _groups(columns: tuple, joins: int) -> object:
    found = _network(columns, joins)
    apart = np.zeros((joins, joins), dtype=bool)
    for each in found.differences:
        i, j = found.joins.index(each.first), found.joins.index(each.second)
        apart[i, j] = apart[j, i] = each.p <= 0.5
    return ranking.groups(apart)


def _meta_regression(columns: tuple, kind: str) -> object:
    k = columns[0].size
    values = {
        "turns": np.arange(k) % 4,
        "one set apart": np.arange(k) == 0,
        "constant but for rounding": 1 + np.arange(k) * 1e-16,
        "of testers": columns[3],
        "huge": 1e12 * (np.arange(k) % 3) + np.arange(k),
    }[kind]
    return meta_regression.fit_meta_regression(*columns, {"it": values})


KINDS_OF_COVARIATES = (
    "turns", "one set apart", "constant but for rounding", "of testers", "huge"
)  # fmt: skip


def _own_mean(columns: tuple, tau2: float) -> object:
    y, own, shared, tester, session, baseline = columns
    mine = tester == tester[0]
    return comparison.own_mean(
        y[mine], own[mine], shared[mine], baseline[mine], session[mine],
        tau2_session=tau2, tau2_set=tau2,
    )  # fmt: skip


def _compare(log_ratio: float, variance: float, se: float, freedom: float, tau2: float) -> object:
    return comparison.compare(
        comparison.OwnMean(log_ratio, variance, 1, 1), mu=-0.25, se=se,
        degrees_of_freedom=freedom, tau2_tester=tau2, prediction_freedom=freedom,
    )  # fmt: skip


def _fitted(family: str) -> list[censored.CensoredFit]:
    found = []
    for loads, flags in LOADS[::3]:
        try:
            found.append(censored.fit(loads, ~np.asarray(flags, bool), family))
        except StatisticsError:
            continue
    return found


FITTED = [*_fitted("lognormal"), *_fitted("weibull"), *_fitted("normal")]
PAIRS = list(zip(_fitted("lognormal"), _fitted("weibull"), strict=False))


def _profile_loglik(fit: censored.CensoredFit, distance: float) -> object:
    return censored_profile.profile_loglik(fit, fit.location + distance * fit.scale, 0.0)


def _location_at_scale(row: tuple, scale: float) -> object:
    loads, flags = row
    load, failed = censored.checked(loads, ~np.asarray(flags, bool))
    censored._need_failures(failed)
    return censored.location_at_scale(np.log(load), failed, "lognormal", scale)


def _strengths(rows: list) -> object:
    loads = np.concatenate([np.asarray(loads, float) for loads, _ in rows])
    flags = np.concatenate([np.asarray(flags, bool) for _, flags in rows])
    sizes = [len(loads) for loads, _ in rows]
    found = censored.strengths(loads, flags, sizes, np.full(len(rows), 0.5))
    return [one for one in found if not isinstance(one, StatisticsError)]


def _maxima(row: tuple) -> object:
    loads, flags = row
    load, failed = censored.checked(loads, ~np.asarray(flags, bool))
    censored._need_failures(failed)
    y = np.log(load)
    starts = np.zeros(1, dtype=np.intp)
    found = censored_newton.maxima((y - y.mean()) / 0.1, failed, starts, censored_newton.normal)
    return found.found


def _apart(row: tuple, other: tuple) -> object:
    return apart.clearly_apart(censored.strength(*row, 0.5), censored.strength(*other, 0.5))


def _efficiency(row: tuple, other: tuple, offset_N: float) -> object:
    return efficiency.efficiency(
        censored.strength(*row, 0.5), censored.strength(*other, 0.5), offset_N
    )


def _grouped(values: np.ndarray, groups_of: int) -> tuple:
    return values, np.arange(values.size) % groups_of


def _by_groups(function: Callable[..., object], *more: object) -> Callable[[], Calls]:
    return of(function, [_grouped(v, n) for v in VALUES for n in (1, 2, 5)], *more)


def _session_scatter(values: np.ndarray, groups_of: int, variance: float) -> object:
    return scatter.session_scatter(
        values, np.full(values.size, variance), np.arange(values.size) % groups_of
    )


SCATTERS = [scatter.Scatter(cv, df) for cv, df in product(CVS, FREEDOM)]
SETS = [(v, np.abs(v) + 1e-6) for v in VALUES if v.size]
MATRICES = [
    np.outer(values, values) + floor * np.eye(values.size)
    for values in VALUES if 0 < values.size <= 9 for floor in (0.0, 1e-300, 1e-12, 1.0)
]  # fmt: skip
CHECKS = [
    [Check("x", "y", 0.0, 0.0, p, Level.NONE, "", "") for p in ps]
    for ps in ([], [0.0], [1.0], [1e-300, 0.5, None], [0.01] * 50)
]
PAST = [rig.Calibrated(days, 1e-3, high, 0.02) for days in (0.0, 1e5) for high in (1.0, 1e6)]
MODES = [["join"], [], ["grip"] * 3 + ["void"], ["line", "none", "slip", "terminal"] * 5]
PLANS = [
    planning.SessionPlan(5, 5, cv, straight, sd)
    for cv, straight, sd in product(CVS[::2], CVS[::3], (0.0, 1e-9, 0.3))
]


def _shrunken(fit: pool_fit.PoolFit, log_ratio: float, variance: float) -> object:
    others = shrinking.likely_variances(fit)
    own = [comparison.OwnMean(log_ratio, variance, 1, 1)] * others.within.shape[0]
    return shrinking.shrunken_value(others, own)
