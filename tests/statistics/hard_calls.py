"""How each public function of the statistics is called with the hard inputs."""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import product

import numpy as np

from results.statistics import (
    censored,
    censored_newton,
    censored_profile,
    cluster_robust,
    comparison,
    components,
    contrasts,
    dense_errors,
    efficiency,
    failure_modes,
    groups,
    heterogeneity,
    join_strength,
    leave_one_out,
    linear,
    moderators,
    multiplicity,
    nested_traces,
    nesting,
    network,
    outliers,
    planning,
    pool_fit,
    pooling,
    precision,
    prediction,
    profile,
    pull_classes,
    quantiles,
    ranking,
    ratio,
    restricted_likelihood,
    robust,
    roots,
    scatter,
    tester_means,
    tolerance,
    two_level,
)
from results.statistics.errors import StatisticsError
from results.statistics.screening import (
    digits,
    efficiencies,
    judging,
    order,
    pulls,
    repeats,
    rig,
    spacing,
    straight_line,
)
from results.statistics.screening import scatter as screening_scatter
from results.statistics.screening.check import Check, Level
from tests.statistics.hard_inputs import (
    CVS,
    FREEDOM,
    LOADS,
    LOGS,
    POOLS,
    POSITIVE,
    SHARES,
    STEPS,
    VALUES,
)

Calls = Iterator[Callable[[], object]]

MAY_BE_INFINITE = {
    "tau2_tester_interval", "tau2_session_interval", "tau2_set_interval", "H2_interval",
    "total_end", "degrees_of_freedom", "log_determinant",
    "cv_join_high", "cv_baseline_high", "coefficient_of_variation_interval",
}  # fmt: skip
"""Ends that the data set no bound, kept as open; freedom of what is known."""

MAY_BE_MISSING = {
    "se", "df",
    "se_robust", "df_satterthwaite", "ci_low", "ci_high", "prediction_low", "prediction_high",
    "prediction_sd", "tau2_tester_interval", "tau2_session_interval", "tau2_set_interval",
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
    sums = fit.model._sums
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
    return ranking.rank(found.estimate, found.robust_covariance)


def _groups(columns: tuple, joins: int) -> object:
    found = _network(columns, joins)
    return ranking.groups(found.estimate, found.robust_covariance, found.degrees_of_freedom)


def _moderated(columns: tuple, kind: str) -> object:
    k = columns[0].size
    values = {
        "turns": np.arange(k) % 4,
        "one set apart": np.arange(k) == 0,
        "constant but for rounding": 1 + np.arange(k) * 1e-16,
        "of testers": columns[3],
        "huge": 1e12 * (np.arange(k) % 3) + np.arange(k),
    }[kind]
    return moderators.moderate(*columns, {"it": values})


KINDS_OF_MODERATORS = (
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
BETWEEN = [fit for fit in FITS if fit.model.nesting.testers.size > prediction.FEW_TESTERS]

CALLS: dict[str, Callable[[], Calls]] = {
    "censored.checked": of(lambda loads, flags: censored.checked(loads, flags)[0], LOADS),
    "censored.fit": lambda: (
        partial(censored.fit, loads, ~np.asarray(flags, bool), family)
        for (loads, flags), family in product(LOADS, ("normal", "lognormal", "weibull"))
    ),
    "censored.location_at_scale": over(_location_at_scale, LOADS[::4], (1e-12, 0.01, 1.0, 50.0)),
    "censored.strength": lambda: (
        partial(censored.strength, *row, step) for row, step in product(LOADS, (0.0, 1e-6, 0.5, 50))
    ),
    "censored.strengths": over(_strengths, [LOADS, LOADS[::-1], LOADS[5:6]]),
    "censored_newton.normal": over(
        lambda z, failed: censored_newton.normal(np.array([z]), np.array([failed]))[1],
        (-1e3, -1.0, 0.0, 1.0, 30.0, 1e3, 1e6), (True, False),
    ),
    "censored_newton.smallest_extreme_value": over(
        lambda z, failed: censored_newton.smallest_extreme_value(
            np.array([z]), np.array([failed])
        )[1],
        (-1e3, -1.0, 0.0, 1.0, 30.0, 700.0), (True, False),
    ),
    "censored_newton.terms_of": over(
        lambda family: censored_newton.terms_of(family).__name__, ("normal", "weibull")
    ),
    "censored_newton.sums": over(
        lambda v: censored_newton.sums(v, np.zeros(1, dtype=np.intp)),
        [v for v in VALUES if v.size],
    ),
    "censored_newton.maxima": over(_maxima, LOADS),
    "censored_profile.quantile_shift": over(
        censored_profile.quantile_shift, ("normal", "weibull"), SHARES
    ),
    "censored_profile.profile_loglik": over(_profile_loglik, FITTED, (-30.0, -1.0, 0.0, 2.0, 30.0)),
    "censored_profile.profile_end": over(
        censored_profile.profile_end, FITTED, (0.0, -1.6), (0.5, 3.84), (-1, 1)
    ),
    "censored_profile.small_sample_deviance": over(
        censored_profile.small_sample_deviance, (2.0, 3.0, 50.0, 2e4), (0.0, -1.6, -4.0),
        (0.5, 0.95, 0.999),
    ),
    "cluster_robust.cluster_robust": over(_robust, FITS, ("CR0", "CR1", "CR2", "CR3")),
    "comparison.own_mean": over(_own_mean, POOLS, (0.0, 1e-3, 1e9)),
    "comparison.variance_between_testers": over(
        comparison.variance_between_testers, POSITIVE, POSITIVE, (0.0, 1.0), (0.0, 1e6)
    ),
    "comparison.compare": over(_compare, LOGS, CVS[::2], CVS[::2], FREEDOM[::2], (0.0, *CVS[::2])),
    "comparison.compare_scatter": over(comparison.compare_scatter, SCATTERS[::2], SCATTERS[::3]),
    "components.likelihood_at": over(lambda fit: fit.at(fit.best.theta[None])[0].value, FITS),
    "components.given": over(components.given, [1.0, StatisticsError("no")]),
    "components.search": _climbed(components.climbing),
    "components.search_each": over(
        lambda fit: components.search_each(
            lambda theta, _: fit.at(theta), [components.climbing(fit.best.theta, fit.fitted)] * 1
        ),
        FITS,
    ),
    "components.along": over(
        lambda fit: components.along(fit.at, np.full((1, 3), 0.5))(np.ones((1, 1)))[0].score, FITS
    ),
    "components.maximise": over(
        lambda fit, times: components.maximise(
            fit.at, np.where(fit.fitted, times * fit.scale, 0.0), fit.fitted
        ).theta,
        FITS, (1e-6, 0.1, 10.0),
    ),
    "components.to_the_top": _climbed(components.to_the_top),
    "components.climbing": _climbed(components.climbing),
    "contrasts.within_baseline_contrasts": over(_contrasts, POOLS, (2, 3, 8)),
    "dense_errors.dense_errors": over(_dense, [c for c in POOLS if c[0].size < 60]),
    "efficiency.fieller": lambda: (
        partial(efficiency.fieller, a, va, b, vb, degrees_of_freedom=df)
        for a, va, b, vb, df in product(POSITIVE, POSITIVE[::2], POSITIVE, POSITIVE[::2], FREEDOM)
    ),
    "efficiency.fieller_unequal": lambda: (
        partial(
            efficiency.fieller_unequal, a, va, b, vb, numerator_freedom=df, denominator_freedom=5.0
        )
        for a, va, b, vb, df in product(
            POSITIVE[::2], POSITIVE[::2], POSITIVE[::2], POSITIVE[::2], FREEDOM
        )
    ),
    "efficiency.coefficient_of_variation_interval": over(
        efficiency.coefficient_of_variation_interval, CVS, FREEDOM
    ),
    "efficiency.efficiency": over(_efficiency, LOADS[2::9], LOADS[4::11], (0.0, 5.0)),
    "failure_modes.meanings": over(failure_modes.meanings, [*MODES, ["unheard of"]]),
    "failure_modes.counted": over(failure_modes.counted, MODES),
    "failure_modes.exact_for_assembly": over(failure_modes.exact_for_assembly, MODES),
    "failure_modes.exact_for_join": over(failure_modes.exact_for_join, MODES),
    "failure_modes.exact_for_line": over(failure_modes.exact_for_line, MODES),
    "groups.grouped": _by_groups(groups.grouped),
    "heterogeneity.homogeneity": over(lambda fit: heterogeneity.homogeneity(fit.model).Q, FITS),
    "heterogeneity.total_end": over(_total_end, FITS, (0.975, 0.025)),
    "heterogeneity.share": over(
        heterogeneity.share, (0.0, 1e-300, 1.0, 1e30, np.inf), (0.0, 1e30), (1e-30, 1.0)
    ),
    "join_strength.join_strength": of(join_strength.join_strength, LOADS),
    "join_strength.load_held": of(join_strength.load_held, PAIRS, 0.95, 0.95),
    "leave_one_out.leave_one_out": over(
        lambda fit: leave_one_out.leave_one_out(fit.model, fit.best, fit.fitted),
        [fit for fit in FITS if fit.model.nesting.testers.size > pool_fit.LEAST_TESTERS],
    ),
    "linear.inverse": over(lambda m: np.isfinite(linear.inverse(m)).any(), MATRICES),
    "linear.inverse_and_log_determinant": over(
        lambda m: np.isfinite(linear.inverse_and_log_determinant(m)[1]), MATRICES
    ),
    "linear.solve_positive": over(lambda m: linear.solve_positive(m, m[0]), MATRICES),
    "linear.solved": over(lambda m: linear.solved(m, m).shape, MATRICES),
    "linear.root_and_solved": over(
        lambda m: linear.root_and_solved(m[None], m[None, :, :1])[0], MATRICES
    ),
    "moderators.moderate": over(_moderated, POOLS, KINDS_OF_MODERATORS),
    "multiplicity.holm": over(multiplicity.holm, [[], [0.0], [1.0] * 9, [1e-300, 0.5]]),
    "nested_traces.traces": over(_traces, FITS),
    "nesting.nest": of(lambda *codes: nesting.nest(*codes).testers, [c[3:] for c in POOLS]),
    "nesting.identifiable": over(lambda fit: nesting.identifiable(fit.model.nesting), FITS),
    "nesting.rows_by_size": over(lambda c: list(nesting.rows_by_size(c)), [
        np.zeros(3, int), np.arange(9), np.arange(90) % 7,
    ]),
    "network.network": over(_network_figures, POOLS, (2, 3, 5)),
    "network.gap_to_pools": over(_gap, POOLS[::4], (2, 3)),
    "outliers.grubbs": over(outliers.grubbs, VALUES),
    "outliers.grubbs_probability": over(
        outliers.grubbs_probability, (0.0, 1.0, 3.0, 1e6), (3, 4, 50, 20_000)
    ),
    "outliers.grubbs_critical": over(outliers.grubbs_critical, (2, 3, 50, 20_000), SHARES),
    "outliers.double_grubbs": over(outliers.double_grubbs, VALUES),
    "outliers.cochran": over(lambda v: outliers.cochran(np.abs(v)), VALUES),
    "outliers.cochran_unequal": over(
        lambda v, n: outliers.cochran_unequal(np.abs(v), np.full(v.size, n)), VALUES, (1, 2, 9)
    ),
    "outliers.cochran_critical": over(
        outliers.cochran_critical, (1, 2, 500), (1, 2, 90), SHARES
    ),
    "outliers.generalised_esd": over(outliers.generalised_esd, VALUES, (1, 3)),
    "planning.power_of_t": over(planning.power_of_t, (0.0, *POSITIVE), POSITIVE, FREEDOM),
    "planning.pulls_for_difference": over(planning.pulls_for_difference, POSITIVE, CVS),
    "planning.difference_told_by_pulls": over(
        planning.difference_told_by_pulls, (1, 2, 5, 20_000), CVS, (0.06, 0.8, 0.999)
    ),
    "planning.power_against_pool": over(
        planning.power_against_pool, (0.05,), PLANS, (1, 50), POSITIVE[::2], FREEDOM[::2]
    ),
    "planning.sessions_for_difference": over(
        planning.sessions_for_difference, (0.05, 1.0), PLANS[::2], POSITIVE[::2], FREEDOM[::2]
    ),
    "planning.difference_told_by_sessions": over(
        planning.difference_told_by_sessions, (1, 50), PLANS[::2], POSITIVE[::2], FREEDOM[::2]
    ),
    "pool_fit.fit_pool": of(lambda *columns: pool_fit.fit_pool(*columns).best.theta, POOLS),
    "pool_fit.nested_errors": of(lambda *columns: pool_fit.nested_errors(*columns)[1], POOLS),
    "pooling.pool": of(pooling.pool, POOLS),
    "pooling.pooled": over(pooling.pooled, FITS),
    "precision.precision": _by_groups(precision.precision),
    "precision.h_critical": over(precision.h_critical, (2, 3, 200), SHARES),
    "precision.k_critical": over(precision.k_critical, ([2], [2, 2], [2, 900], [2] * 200), SHARES),
    "precision.k_critical_by_freedom": over(
        precision.k_critical_by_freedom, FREEDOM, FREEDOM, (0.05, 0.01)
    ),
    "prediction.between_testers": over(lambda fit: fit.between_testers, FITS),
    "prediction.prediction_by_t": over(
        lambda fit: prediction.prediction_by_t(fit.best, fit.model.nesting.testers.size), FITS
    ),
    "prediction.prediction_interval": over(
        lambda fit: prediction.prediction_interval(fit.between_testers), BETWEEN
    ),
    "prediction.lower_bound": over(
        lambda fit, v: prediction.lower_bound(fit.between_testers, v, 0.9, 0.95),
        FITS, (1e-12, 0.01, 9.0),
    ),
    "profile.profile_low": _ends(profile.profile_low),
    "profile.profile_high": _ends(profile.profile_high, "scale"),
    "pull_classes.places_of": over(
        lambda values: pull_classes.places_of(values.tolist(), ["join"] * values.size), VALUES
    ),
    "pull_classes.distribution": over(
        pull_classes.distribution, [[], [{}], [{"join": [0, 80]}, {"join": [0]}]]
    ),
    "quantiles.t_quantile": over(quantiles.t_quantile, SHARES, FREEDOM),
    "ranking.rank": over(_rank, POOLS[::4], (2, 4)),
    "ranking.groups": over(_groups, POOLS[::4], (2, 4)),
    "ratio.relative_variance": over(ratio.relative_variance, CVS, (0.5, 1.0, 1e12)),
    "ratio.pooled_coefficient_of_variation": lambda: (
        partial(ratio.pooled_coefficient_of_variation, np.abs(v), np.full(v.size, df))
        for v, df in product(VALUES, (0.0, 1.0, 1e6))
    ),
    "ratio.log_ratio": over(ratio.log_ratio, POSITIVE, POSITIVE, CVS, CVS[::2]),
    "ratio.corrected_log_ratio": over(ratio.corrected_log_ratio, POSITIVE, POSITIVE, CVS, CVS[::2]),
    "restricted_likelihood.restricted_likelihoods": over(_likelihoods, FITS, (0.0, 1.0, 1e6)),
    "restricted_likelihood.derivatives": over(_derivatives, FITS),
    "robust.algorithm_a": over(robust.algorithm_a, VALUES),
    "robust.limit_and_adjustment_factor": over(
        robust.limit_and_adjustment_factor, (0, 1, 9, 10_000)
    ),
    "robust.algorithm_s": over(lambda v, df: robust.algorithm_s(np.abs(v), df), VALUES, (1, 9)),
    "roots.root_between": over(
        lambda at, high: roots.root_between(lambda x: x - at, 0.0, high), (1e-300, 1.0, 1e6),
        (2.0, 1e300),
    ),
    "roots.root_beyond": over(
        lambda at, step: roots.root_beyond(lambda x: at - x, 0.0, step), (1e-9, 1.0, 1e30), (0.1, 9)
    ),
    "scatter.variance_interval": over(
        scatter.variance_interval, (1e-24, 1.0, 900.0), FREEDOM, (0.5, 0.95)
    ),
    "scatter.combine": over(
        lambda one, other: scatter.combine((1, one), (-1, other)), SCATTERS[::2], SCATTERS[::3]
    ),
    "scatter.split_scatter": over(
        scatter.split_scatter, SCATTERS[::9], SCATTERS[::11], SCATTERS[::17], SCATTERS[::19]
    ),
    "scatter.further_pulls": over(scatter.further_pulls, SCATTERS[::5], SCATTERS[::7]),
    "scatter.session_scatter": over(_session_scatter, VALUES, (1, 2, 5), (1e-12, 1.0)),
    "tester_means.means_by_tester": lambda: (
        partial(tester_means.means_by_tester, *columns, tau2_session=tau2, tau2_set=tau2)
        for columns, tau2 in product(POOLS, (0.0, 1e9))
    ),
    "tolerance.one_sided_factor": over(
        tolerance.one_sided_factor, (1, 2, 5, 2_000), SHARES, SHARES
    ),
    "tolerance.nested_lower_bound": _by_groups(tolerance.nested_lower_bound, 0.9, 0.95),
    "tolerance.proportion_lower_bound": over(
        tolerance.proportion_lower_bound, (0, 1, 20_000), (1, 20_000), SHARES
    ),
    "tolerance.proportion_upper_bound": over(
        tolerance.proportion_upper_bound, (0, 1, 20_000), (1, 20_000), SHARES
    ),
    "two_level.pool_two_level": of(two_level.pool_two_level, SETS),
    "two_level.cochran_q": of(two_level.cochran_q, SETS),
    "two_level.typical_sampling_variance": over(
        two_level.typical_sampling_variance, [v for _, v in SETS]
    ),
    "two_level.q_profile": of(two_level.q_profile, SETS),
    "two_level.between_variance": lambda: (
        partial(two_level.between_variance, *row, method)
        for row, method in product(SETS, ("DL", "PM", "REML", "ML"))
    ),
    "two_level.leave_one_out": of(two_level.leave_one_out, [s for s in SETS if s[0].size < 10]),
    "screening.digits.digit_counts": over(digits.digit_counts, STEPS),
    "screening.digits.digit_chi_square": over(
        digits.digit_chi_square, [[1] * 10, [0] * 9 + [1], [10**6] + [0] * 9]
    ),
    "screening.digits.terminal_digits": over(digits.terminal_digits, ["x"], STEPS, (0.3, 9.0, 1e5)),
    "screening.digits.heaped_digits": over(digits.heaped_digits, ["x"], STEPS, (0.3, 9.0, 1e5)),
    "screening.efficiencies.plausible_efficiency": over(
        efficiencies.plausible_efficiency, ["x"], POSITIVE
    ),
    "screening.efficiencies.above_the_line": over(
        efficiencies.above_the_line, ["x"], LOGS, CVS[:-1], FREEDOM
    ),
    "screening.efficiencies.above_the_pool": over(
        efficiencies.above_the_pool, ["x"], LOGS, LOGS, CVS, FREEDOM
    ),
    "screening.efficiencies.below_the_pool": over(
        efficiencies.below_the_pool, ["x"], LOGS, LOGS, CVS, FREEDOM
    ),
    "screening.efficiencies.mixed_units_in_set": over(
        efficiencies.mixed_units_in_set, ["x"], POSITIVE, POSITIVE
    ),
    "screening.judging.adjusted": over(judging.adjusted, [[], [0.0], [1.0] * 9, [1e-300, 0.5]]),
    "screening.judging.judge": over(judging.judge, CHECKS),
    "screening.order.mann_kendall": over(order.mann_kendall, [v for v in VALUES if v.size]),
    "screening.order.von_neumann": over(
        order.von_neumann, [v for v in VALUES if v.size > 2 and np.ptp(v) > 0]
    ),
    "screening.order.order_trend": over(order.order_trend, ["x"], VALUES),
    "screening.order.serial_correlation": over(order.serial_correlation, ["x"], VALUES),
    "screening.pulls.outlying_pull": over(
        pulls.outlying_pull, ["x"], [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.repeats.cell_probabilities": over(
        repeats.cell_probabilities, (0.0, 1e3, 1e9), (12**-0.5, 5.0, 1e3)
    ),
    "screening.repeats.scatter_in_steps": over(
        repeats.scatter_in_steps, [s for s in STEPS if s.size > 1]
    ),
    "screening.repeats.expected_pairs": over(
        repeats.expected_pairs, [s for s in STEPS if s.size > 1] + [np.array([1, 10**9])]
    ),
    "screening.repeats.equal_pairs": over(repeats.equal_pairs, STEPS),
    "screening.repeats.repeated_values": over(
        repeats.repeated_values, ["x"], [STEPS, [], *([s] for s in STEPS)]
    ),
    "screening.repeats.longest_common_run": over(
        repeats.longest_common_run,
        [s.tolist() for s in STEPS if s.size], [s.tolist() for s in STEPS[::7] if s.size],
    ),
    "screening.repeats.longest_aligned_run": over(
        repeats.longest_aligned_run, [s.tolist() for s in STEPS], [s.tolist() for s in STEPS[::7]]
    ),
    "screening.repeats.copied_run": lambda: (
        partial(repeats.copied_run, "n", "x", one.tolist(), [("y", other.tolist())], 9)
        for one, other in product(STEPS, STEPS[::5])
    ),
    "screening.repeats.agreeing_sets": over(
        repeats.agreeing_sets, ["x"], [STEPS, [], *([s, s + 1, s] for s in STEPS)]
    ),
    "screening.rig.calibration": over(rig.calibration, ["x"], [None, *PAST], POSITIVE),
    "screening.rig.moved_since": over(
        rig.moved_since, ["x"], POSITIVE, [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.rig.off_the_chart": over(rig.off_the_chart, ["x"], POSITIVE, (1.0,), (1.0, 50.0)),
    "screening.rig.like_pace": over(rig.like_pace, ["x"], POSITIVE, POSITIVE),
    "screening.rig.within_capacity": over(rig.within_capacity, ["x"], POSITIVE, POSITIVE),
    "screening.rig.possible_times": over(
        rig.possible_times, ["x"], (0, 20_000), (0.0, 1e9), (-9_999, 0, 2)
    ),
    "screening.scatter.too_little_scatter": lambda: (
        partial(
            screening_scatter.too_little_scatter, "x", [cv] * n, [df] * n, [usual] * n, [step] * n
        )
        for cv, df, usual, step, n in product(CVS, FREEDOM, CVS[2:5], (0.0, 1e-9, 1.0), (0, 1, 9))
    ),
    "screening.scatter.few_steps_of_the_scale": over(
        lambda steps, cv: screening_scatter.few_steps_of_the_scale("x", [steps], [cv]),
        [s for s in STEPS if s.size < 50][::4], (1e-6, 0.04),
    ),
    "screening.scatter.more_scatter": over(
        screening_scatter.more_scatter, ["x"], CVS, FREEDOM, CVS, FREEDOM, (1, 900)
    ),
    "screening.spacing.greenwood": over(spacing.greenwood, [s for s in STEPS if s.size > 1]),
    "screening.spacing.even_spacing": over(
        spacing.even_spacing, ["x"], [s for s in STEPS if s.size < 50][::4]
    ),
    "screening.straight_line.nearest_mix_up": over(straight_line.nearest_mix_up, POSITIVE),
    "screening.straight_line.against_label": over(
        straight_line.against_label, ["x"], POSITIVE, POSITIVE
    ),
    "screening.straight_line.unit_mix_up": over(
        straight_line.unit_mix_up, ["x"], POSITIVE, [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.straight_line.against_other_baselines": over(
        straight_line.against_other_baselines, ["x"], POSITIVE,
        [v for v in VALUES if np.all(v > 0)],
    ),
}  # fmt: skip
