"""How each public function of the statistics is called with the hard inputs."""

from collections.abc import Callable
from functools import partial
from itertools import product

import numpy as np

from deploy.benchmarks.agreement import two_level_pool
from results.statistics import (
    censored,
    censored_newton,
    censored_profile,
    comparison,
    components,
    crossed_factors,
    efficiency,
    failure_modes,
    group_influence,
    groups,
    heterogeneity,
    join_strength,
    leave_one_out,
    linear,
    multiplicity,
    nesting,
    outliers,
    planning,
    pool_fit,
    pooling,
    precision,
    prediction,
    profile,
    pull_classes,
    quantiles,
    ratio,
    robust,
    roots,
    scatter,
    tester_means,
    tolerance,
    woodbury,
    zero_errors,
)
from results.statistics.errors import StatisticsError
from tests.statistics.hard_arguments import (
    CROSSED,
    CROSSED_FITS,
    FITS,
    FITTED,
    KINDS_OF_COVARIATES,
    MATRICES,
    MODES,
    PAIRS,
    PLANS,
    SCATTERS,
    SETS,
    Calls,
    _apart,
    _both_ways,
    _by_groups,
    _climbed,
    _compare,
    _contrasts,
    _dense,
    _derivatives,
    _efficiency,
    _ends,
    _gap,
    _groups,
    _likelihoods,
    _location_at_scale,
    _maxima,
    _meta_regression,
    _network_figures,
    _own_mean,
    _profile_loglik,
    _rank,
    _robust,
    _scales_and_testers,
    _session_scatter,
    _strengths,
    _total_end,
    _traces,
    _with_errors,
    _with_levels,
    _zeros,
    of,
    over,
)
from tests.statistics.hard_inputs import (
    CVS,
    FREEDOM,
    LOADS,
    LOGS,
    POOLS,
    POSITIVE,
    SHARES,
    VALUES,
)
from tests.statistics.hard_one_stage_calls import ONE_STAGE_CALLS
from tests.statistics.hard_screening_calls import SCREENING_CALLS
from tests.statistics.hard_small_number_calls import SMALL_NUMBER_CALLS

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
    "apart.clearly_apart": over(_apart, LOADS[2::9], LOADS[4::11]),
    "efficiency.efficiency": over(_efficiency, LOADS[2::9], LOADS[4::11], (0.0, 5.0)),
    "failure_modes.meanings": over(failure_modes.meanings, [*MODES, ["unheard of"]]),
    "failure_modes.counted": over(failure_modes.counted, MODES),
    "failure_modes.exact_for_assembly": over(failure_modes.exact_for_assembly, MODES),
    "failure_modes.exact_for_join": over(failure_modes.exact_for_join, MODES),
    "failure_modes.exact_for_line": over(failure_modes.exact_for_line, MODES),
    "group_influence.without_groups": over(
        lambda fit: group_influence.without_groups(
            fit, np.arange(fit.model.sets) % 3 == np.arange(3)[:, None]
        ),
        FITS + CROSSED_FITS,
    ),
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
    "meta_regression.fit_meta_regression": over(_meta_regression, POOLS, KINDS_OF_COVARIATES),
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
    "planning.narrowing_by_a_tester": over(
        planning.narrowing_by_a_tester, (-1, 0, 1, 2, 3, 10, 100_000)
    ),
    "planning.power_of_t": over(planning.power_of_t, (0.0, *POSITIVE), POSITIVE, FREEDOM),
    "planning.pairs_for_difference": over(planning.pairs_for_difference, POSITIVE, CVS),
    "planning.pulls_for_difference": over(planning.pulls_for_difference, POSITIVE, CVS),
    "planning.difference_detectable_by_pulls": over(
        planning.difference_detectable_by_pulls, (1, 2, 5, 20_000), CVS, (0.06, 0.8, 0.999)
    ),
    "planning.power_against_pool": over(
        planning.power_against_pool, (0.05,), PLANS, (1, 50), POSITIVE[::2], FREEDOM[::2]
    ),
    "planning.sessions_for_difference": over(
        planning.sessions_for_difference, (0.05, 1.0), PLANS[::2], POSITIVE[::2], FREEDOM[::2]
    ),
    "planning.difference_detectable_by_sessions": over(
        planning.difference_detectable_by_sessions, (1, 50), PLANS[::2], POSITIVE[::2], FREEDOM[::2]
    ),
    "crossed_factors.testers_of_levels": of(
        lambda *columns: crossed_factors.testers_of_levels(columns[-1]["product"], columns[3]),
        CROSSED,
    ),
    "crossed_factors.is_identifiable": of(
        lambda *columns: crossed_factors.is_identifiable(columns[-1]["product"], columns[3]),
        CROSSED,
    ),
    "crossed_factors.identifiable_factors": of(
        lambda *columns: crossed_factors.identifiable_factors(columns[-1], columns[3])[1], CROSSED
    ),
    "crossed_factors.over_component": over(lambda fit: fit.between_levels, CROSSED_FITS),
    "crossed_factors.both_ways": over(_both_ways, CROSSED_FITS),
    "zero_errors.with_errors": over(_with_errors, FITS),
    "zero_errors.shared_errors": of(
        lambda y, *rest: zero_errors.shared_errors(y[:, None], *_scales_and_testers(rest[2])),
        POOLS,
    ),
    "woodbury.shrunken": over(
        lambda m: woodbury.shrunken(m[None], np.ones((1, m.shape[0]))), MATRICES
    ),
    "woodbury.with_levels": over(_with_levels, CROSSED_FITS),
    "pool_fit.fit_pool": of(lambda *columns: pool_fit.fit_pool(*columns).best.theta, POOLS),
    "pool_fit.nested_errors": of(lambda *columns: pool_fit.nested_errors(*columns)[1], POOLS),
    "pooling.pool": of(
        lambda *columns: pooling.pool(*columns[:6], crossed=dict(*columns[6:7]), **_zeros(columns)),
        POOLS + CROSSED + [(*columns, {}, zero) for columns in POOLS[::5] for zero in (0.5, 1e9)],
    ),
    "pooling.pooled": over(pooling.pooled, FITS),
    "precision.precision": _by_groups(precision.precision),
    "precision.h_critical": over(precision.h_critical, (2, 3, 200), SHARES),
    "precision.k_critical": over(precision.k_critical, ([2], [2, 2], [2, 900], [2] * 200), SHARES),
    "precision.k_critical_by_freedom": over(
        precision.k_critical_by_freedom, FREEDOM, FREEDOM, (0.05, 0.01)
    ),
    "prediction.between_testers": over(lambda fit: fit.between_testers, FITS),
    "prediction.variance_grid": over(
        lambda estimate, low, factor: prediction.variance_grid(
            estimate, (low * estimate, factor * estimate), 9
        ),
        (0.0, *CVS), (0.0, 1e-9, 0.5), (1.0, 2.0, 1e9, np.inf),
    ),
    "prediction.log_half_t": over(
        lambda variance: prediction.log_half_t(np.array([variance]), 0.1), CVS
    ),
    "prediction.prediction_interval": over(
        lambda fit: prediction.prediction_interval(fit.between_testers), FITS
    ),
    "prediction.mean_interval": over(
        lambda fit: prediction.mean_interval(fit.between_testers), FITS
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
    "quantiles.mixture_quantile": over(
        lambda mean, sd, share: quantiles.mixture_quantile(
            np.array([0.25, 0.75]), np.array([mean, 2 * mean]), np.array([sd, 3 * sd]), share
        ),
        LOGS, CVS, SHARES,
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
    "robust.median_interval": over(lambda v: robust.median_interval(v, 0.95)[0], VALUES),
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
    "two_level_pool.pool_two_level": of(two_level_pool.pool_two_level, SETS),
    "two_level_pool.cochran_q": of(two_level_pool.cochran_q, SETS),
    "two_level_pool.typical_sampling_variance": over(
        two_level_pool.typical_sampling_variance, [v for _, v in SETS]
    ),
    "two_level_pool.q_profile": of(two_level_pool.q_profile, SETS),
    "two_level_pool.between_variance": lambda: (
        partial(two_level_pool.between_variance, *row, method)
        for row, method in product(SETS, ("DL", "PM", "REML", "ML"))
    ),
    "two_level_pool.leave_one_out": of(
        two_level_pool.leave_one_out, [row for row in SETS if row[0].size < 10]
    ),
    **SCREENING_CALLS,
    **ONE_STAGE_CALLS,
    **SMALL_NUMBER_CALLS,
}  # fmt: skip
