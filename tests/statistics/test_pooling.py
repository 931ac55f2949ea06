"""The pool against R's metafor and clubSandwich, and against the model written out densely."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import multivariate_normal, norm

from results.statistics.components import likelihood_at, maximise
from results.statistics.errors import (
    NoScatter,
    NotFinite,
    NotNested,
    NotPositive,
    ShapeMismatch,
    TooFewTesters,
)
from results.statistics.pool_fit import fit_pool, nested_errors
from results.statistics.pooling import pool
from tests.statistics.worlds import world


def columns_of(data, cluster="cluster"):
    v = np.array(data["vi"])
    return data["yi"], v, np.zeros_like(v), data[cluster], data[cluster], data[cluster]


def test_three_levels_agree_with_metafor_and_clubsandwich(pooling_reference):
    given = pooling_reference("three-level-districts")
    expected, found = given["expected"], pool(*columns_of(given["data"]))
    assert found.mu == pytest.approx(expected["mu"], abs=1e-9)
    assert found.se_model == pytest.approx(expected["se_model"], rel=1e-7)
    assert found.tau2_tester == pytest.approx(expected["sigma2_between_clusters"], rel=1e-6)
    assert found.tau2_set == pytest.approx(expected["sigma2_within_clusters"], rel=1e-6)
    assert found.restricted_loglik == pytest.approx(expected["restricted_loglik"], abs=1e-9)
    ends = expected["profile_ci_95"]
    assert found.tau2_tester_interval == pytest.approx(ends["sigma2_between_clusters"], rel=1e-7)
    assert found.tau2_set_interval == pytest.approx(ends["sigma2_within_clusters"], rel=1e-7)
    assert pytest.approx(expected["Q"], rel=1e-11) == found.Q
    assert pytest.approx(expected["I2_percent"]["total"] / 100, rel=1e-7) == found.I2_total
    robust = expected["CR2_cluster_robust"]
    assert found.se_robust == pytest.approx(robust["se"], rel=1e-7)
    assert found.df_satterthwaite == pytest.approx(robust["satterthwaite_df"], rel=1e-7)


def test_a_baseline_shared_by_its_sets_agrees_with_a_block_covariance_in_metafor(
    pooling_reference,
):
    given = pooling_reference("three-level-block-covariance")
    data, expected = given["data"], given["expected"]["shared_baseline"]
    shared, cluster = np.array(data["shared_baseline_covariance"]), data["cluster"]
    found = pool(data["yi"], np.array(data["vi"]) - shared, shared, cluster, cluster, cluster)
    assert found.mu == pytest.approx(expected["mu"], abs=1e-8)
    assert found.tau2_tester == pytest.approx(expected["sigma2_between_clusters"], rel=1e-6)
    assert found.tau2_set == pytest.approx(expected["sigma2_within_clusters"], rel=1e-6)
    assert found.se_robust == pytest.approx(expected["CR2_cluster_robust"]["se"], rel=1e-7)


def test_testers_sessions_and_sets_agree_with_a_four_level_fit_in_metafor(pooling_reference):
    given = pooling_reference("three-level-shared-baseline-simulated")
    data, expected = given["data"], given["expected"]["four_level"]
    found = pool(
        data["yi"],
        data["own_variance"],
        data["shared_baseline_variance"],
        data["tester"],
        data["session"],
        data["session"],
    )
    assert found.fitted == ("tester", "session", "set")
    assert found.tau2_session == pytest.approx(expected["sigma2_session"], rel=1e-6)
    assert found.se_robust == pytest.approx(expected["CR2_cluster_robust"]["se"], rel=1e-6)
    shares = [100 * found.I2_tester, 100 * found.I2_session, 100 * found.I2_set]
    levels = ("tester", "session", "set")
    assert shares == pytest.approx([expected["I2_percent"][name] for name in levels], rel=1e-5)


def test_a_component_without_support_is_zero_and_said_to_be_at_its_boundary(pooling_reference):
    data = pooling_reference("ratio-of-means-shared-baseline")["data"]
    own, shared = (
        np.square(np.array(data[f"sd{arm}"]) / data[f"mean{arm}"]) / data[f"n{arm}"]
        for arm in (1, 2)
    )
    y = np.log(np.array(data["mean1"]) / data["mean2"])
    found = pool(y, own, shared, data["paper"], data["paper"], data["paper"])
    assert found.tau2_tester == 0
    assert found.at_boundary == ("tester",)
    # R's metafor 3.8.1, three_level_shared_control
    assert found.tau2_tester_interval == pytest.approx((0, 0.007300781210477), rel=1e-6)
    assert found.mu == pytest.approx(0.2493503684165, abs=1e-8)


def dense_covariance(model, theta):
    nesting, k = model.nesting, model.sets
    same = [
        level[:, None] == level[None, :]
        for level in (nesting.tester_of_set, nesting.session_of_set, nesting.baseline_of_set)
    ]
    shared = model.shared_variance[nesting.baseline_of_set] * same[2]
    return (
        np.diag(model.own_variance)
        + shared
        + theta[0] * same[0]
        + theta[1] * same[1]
        + theta[2] * np.eye(k)
    )


@pytest.mark.parametrize("theta", [(0.002, 0.0004, 0.0004), (0, 0.001, 0), (0.5, 0, 0.1)])
def test_the_tree_has_the_density_of_the_error_contrasts_written_out(theta):
    model, _ = nested_errors(*world(7, seed=5))
    contrast = np.linalg.svd(np.ones((1, model.sets)))[2][1:]
    covariance = contrast @ dense_covariance(model, theta) @ contrast.T
    dense = multivariate_normal(cov=covariance).logpdf(contrast @ model.columns[:, 1])
    at = likelihood_at(model)
    assert at(np.array([theta]))[0].value == pytest.approx(dense, rel=1e-11)


def test_score_and_information_are_the_slopes_of_likelihood_and_score():
    at = likelihood_at(nested_errors(*world(6, seed=2))[0])
    theta = np.array([0.002, 0.0007, 0.0005])
    (here,) = at(theta[None])
    slope = approx_fprime(theta, lambda point: at(point[None])[0].value, 1e-9)
    bend = approx_fprime(theta, lambda point: at(point[None])[0].score, 1e-9)
    assert here.score == pytest.approx(slope, rel=1e-4)
    assert here.observed == pytest.approx(-bend, rel=1e-4)


def test_no_point_nearby_is_likelier_than_the_fit():
    fit = fit_pool(*world(9, seed=4))
    rng = np.random.default_rng(0)
    nearby = np.maximum(fit.best.theta * np.exp(rng.normal(0, 0.3, (50, 3))), 0)
    assert max(found.value for found in fit.at(nearby)) <= fit.best.likelihood.value


def test_shrunken_testers_solve_the_mixed_model_equations():
    fit = fit_pool(*world(8, seed=3))
    model, theta = fit.model, fit.best.theta
    z = np.eye(8)[model.nesting.tester_of_set]
    inverse = np.linalg.inv(dense_covariance(model, (0, theta[1], theta[2])))
    x = np.column_stack((np.ones(model.sets), z))
    penalty = np.diag([0, *np.full(8, 1 / theta[0])])
    equations = np.linalg.inv(x.T @ inverse @ x + penalty)
    solution = equations @ x.T @ inverse @ model.columns[:, 1]
    effects = pool(*world(8, seed=3)).tester_effects
    assert effects.effect == pytest.approx(solution[1:], abs=1e-9)
    assert effects.effect_se == pytest.approx(np.sqrt(np.diag(equations)[1:]), rel=1e-7)
    both = equations[0, 0] + 2 * equations[0, 1:] + np.diag(equations)[1:]
    assert effects.value_se == pytest.approx(np.sqrt(both), rel=1e-7)


def test_leaving_a_tester_out_is_pooling_the_others():
    columns = world(6, seed=8)
    found = pool(*columns).leave_one_out
    for place, tester in enumerate(found.tester):
        others = pool(*(column[columns[3] != tester] for column in columns))
        assert found.mu[place] == pytest.approx(others.mu, abs=1e-9)
        assert found.tau2_tester[place] == pytest.approx(others.tau2_tester, abs=1e-9)


def test_in_a_large_pool_the_short_way_of_leaving_out_stays_near_the_refit():
    columns = world(80, seed=1)
    found = pool(*columns).leave_one_out
    for place in range(0, 80, 10):
        others = fit_pool(*(column[columns[3] != found.tester[place]] for column in columns))
        mu = others.centre + others.best.likelihood.beta[0]
        assert abs(found.mu[place] - mu) < 1e-3 * found.se_model[place]


def test_three_testers_are_pooled_but_none_is_left_out():
    assert pool(*world(3, seed=1)).leave_one_out is None


def test_another_unit_scales_and_shifts_every_figure():
    y, own, shared, *codes = world(8, seed=6)
    plain, changed = pool(y, own, shared, *codes), pool(3 * y + 1, 9 * own, 9 * shared, *codes)
    for name in ("mu", "ci_low", "ci_high", "prediction_low", "prediction_high"):
        assert getattr(changed, name) == pytest.approx(3 * getattr(plain, name) + 1, abs=1e-6)
    assert changed.tau2_tester == pytest.approx(9 * plain.tau2_tester, rel=1e-6)
    assert pytest.approx(plain.I2_total, rel=1e-6) == changed.I2_total


def test_the_order_of_sets_and_the_names_of_testers_change_nothing():
    columns = world(7, seed=9)
    order = np.random.default_rng(1).permutation(columns[0].size)
    plain, shuffled = pool(*columns), pool(*(column[order] for column in columns))
    assert shuffled.mu == pytest.approx(plain.mu, abs=1e-10)
    assert shuffled.se_robust == pytest.approx(plain.se_robust, rel=1e-7)


def test_sessions_and_sets_that_cannot_be_separated_are_not_fitted():
    y = [-0.2, -0.3, -0.25, -0.4]
    found = pool(y, [0.001] * 4, [0.0001] * 4, [1, 2, 3, 4], [1, 2, 3, 4], [1, 2, 3, 4])
    assert found.fitted == ("tester",)
    assert found.tau2_session == found.tau2_set == 0
    assert found.tau2_set_interval == (0.0, 0.0)


def test_a_new_tester_lies_in_the_prediction_interval_about_95_times_in_100():
    sds = (0.03, 0.015, 0.015)
    covered = []
    for seed in range(24):
        fit = fit_pool(*world(8, seed=seed, sds=sds, mu=0.0))
        tau = np.sqrt(np.square(sds).sum())
        low, high = (fit.centre + end for end in fit.prediction)
        covered.append(norm.cdf(high / tau) - norm.cdf(low / tau))
    assert 0.92 < np.mean(covered) < 0.985


def test_nine_in_ten_next_pulls_exceed_the_lower_bound_in_nearly_every_pool():
    sds, pull_sd = (0.045, 0.015, 0.01), 0.07
    promised = -norm.ppf(0.9) * np.sqrt(np.square(sds).sum() + pull_sd**2)
    bounds = [
        fit_pool(*world(8, seed=seed, sds=sds, mu=0.0)).lower_bound(pull_sd**2, 0.9, 0.95)
        for seed in range(24)
    ]
    assert np.mean(np.array(bounds) <= promised) >= 0.9


def changed(place, values):
    columns = list(world(4, seed=1))
    columns[place] = values(columns[place].copy())
    return columns


def with_first(value):
    def change(column):
        column[0] = value
        return column

    return change


@pytest.mark.parametrize(
    ("columns", "error", "says"),
    [
        (world(2, seed=1), TooFewTesters, "3 testers; there are 2"),
        (changed(0, with_first(np.nan)), NotFinite, "y of set 0"),
        (changed(1, with_first(0.0)), NotPositive, "above zero"),
        (changed(2, with_first(-1.0)), NotPositive, "not below"),
        (changed(0, lambda y: np.full_like(y, -0.2)), NoScatter, "same value"),
        (
            changed(2, lambda b: b + 0.001 * np.arange(b.size)),
            NotNested,
            "different shared variances",
        ),
        (changed(4, np.zeros_like), NotNested, "more than one tester"),
        (changed(0, lambda y: y[1:]), ShapeMismatch, "one length"),
    ],
)
def test_what_cannot_be_pooled_is_refused_by_name(columns, error, says):
    with pytest.raises(error, match=says):
        pool(*columns)


def test_starting_elsewhere_leads_to_the_same_maximum():
    fit = fit_pool(*world(5, seed=12))
    for start in ([1e-6, 1e-6, 1e-6], [0.1, 0.001, 0.001], [1e-5, 0.05, 1e-5]):
        again = maximise(fit.at, np.array(start), fit.fitted)
        assert again.theta == pytest.approx(fit.best.theta, abs=1e-9)


def test_where_only_one_tester_tells_sets_from_sessions_the_rest_is_refitted_without_it():
    y = np.array([-0.20, -0.31, -0.24, -0.27, -0.18, -0.33])
    tester = np.array([0, 1, 2, 3, 4, 4])
    session = np.array([0, 1, 2, 3, 4, 4])
    found = pool(y, np.full(6, 1e-4), np.zeros(6), tester, session, session).leave_one_out
    rest = pool(y[:4], np.full(4, 1e-4), np.zeros(4), tester[:4], session[:4], session[:4])
    assert found.mu[4] == pytest.approx(rest.mu, abs=1e-9)
