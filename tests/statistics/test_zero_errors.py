"""Errors of a scale's zero, shared by the sets of a calibration: against all matrices at once."""

from dataclasses import asdict

import numpy as np
import pytest
from scipy.optimize import minimize

from results.statistics.components import likelihood_at
from results.statistics.crossed_errors import CrossedErrors
from results.statistics.errors import NotNested, ShapeMismatch, TooExtreme
from results.statistics.pool_fit import fit_pool, nested_errors
from results.statistics.pooling import pool
from tests.statistics.test_crossed import THETAS, all_at_once, dense, with_levels
from tests.statistics.worlds import world


def with_zeros(testers=7, seed=3, size=0.05, kinds=()):
    """A pool, what each set's zero error moves it by, and whose scale that is: 1 to 3 a tester.

    With `kinds` (3,) a scale has several errors, of which some testers have one alone.
    """
    rng = np.random.default_rng(seed)
    columns = world(testers, seed=seed)
    tester = np.asarray(columns[3])
    scale = 10 * tester + rng.integers(0, 1 + tester % 3, tester.size)
    zero = size * rng.uniform(-0.5, 1, (tester.size, *kinds))
    zero[tester == tester[0]] = 0.0
    if kinds:
        zero[tester % 3 == 0, 1:] = 0.0
    return columns, zero, scale


def of_scales(zero, scale):
    errors = zero.reshape(scale.size, -1)
    return np.equal.outer(scale, scale) * (errors @ errors.T)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("size", [0.05, 2.0])
@pytest.mark.parametrize("kinds", [(), (3,)])
def test_the_likelihood_is_that_of_all_matrices_at_once(seed, size, kinds):
    """Also where line products cross the testers, and where a scale has several errors."""
    columns, zero, scale = with_zeros(seed=seed, size=size, kinds=kinds)
    _, levels = with_levels(seed=seed)
    model, centre = nested_errors(*columns, zero=zero, scale=scale)
    y = columns[0] - centre
    for f, at in ((3, model), (5, CrossedErrors(model, levels))):
        for theta, found in zip(THETAS[:, :f], likelihood_at(at)(THETAS[:, :f]), strict=True):
            marginal, kinds = all_at_once(columns, levels[:, : f - 3], theta)
            value, mu, variance, score, observed = dense(
                y, marginal + of_scales(zero, scale), kinds
            )
            assert found.value == pytest.approx(value, rel=1e-9)
            assert found.beta[0] == pytest.approx(mu, rel=1e-7, abs=1e-9)
            assert found.covariance[0, 0] == pytest.approx(variance, rel=1e-8)
            assert found.score == pytest.approx(np.array(score), rel=1e-6)
            assert found.observed == pytest.approx(np.array(observed), rel=1e-6, abs=1e-6)


def test_the_fit_is_the_maximum_of_a_likelihood_written_down_whole():
    """Restricted likelihood of all sets by plain matrices, climbed by scipy without derivatives."""
    columns, zero, scale = with_zeros(testers=9, seed=11)
    found = pool(*columns, zero=zero, scale=scale)
    none = np.empty((len(zero), 0), dtype=int)
    y = columns[0] - found.mu

    def loss(log_variance):
        marginal, kinds = all_at_once(columns, none, np.exp(log_variance))
        return -dense(y, marginal + of_scales(zero, scale), kinds)[0]

    best = minimize(
        loss, np.log([1e-3, 1e-3, 1e-3]), method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-12, "maxiter": 4000},
    )  # fmt: skip
    assert found.restricted_loglik == pytest.approx(-best.fun, abs=1e-8)
    theta = [found.tau2_tester, found.tau2_session, found.tau2_set]
    assert theta == pytest.approx(np.exp(best.x), rel=1e-4, abs=1e-7)
    marginal, kinds = all_at_once(columns, none, np.array(theta))
    _, mu, variance, _, _ = dense(y, marginal + of_scales(zero, scale), kinds)
    assert mu == pytest.approx(0, abs=1e-9)
    assert found.se_model == pytest.approx(np.sqrt(variance), rel=1e-9)


def test_effects_of_testers_and_their_blocks_are_those_of_all_matrices_at_once():
    columns, zero, scale = with_zeros(seed=5, kinds=(3,))
    fit = fit_pool(*columns, zero=zero, scale=scale)
    none = np.empty((len(zero), 0), dtype=int)
    marginal = all_at_once(columns, none, fit.best.theta)[0] + of_scales(zero, scale)
    z = (np.asarray(columns[3])[:, None] == fit.model.nesting.testers).astype(float)
    solved = np.linalg.solve(marginal, z)
    q, of_all, of_y = fit.model.towards_testers(fit.best.theta)
    assert q == pytest.approx(np.einsum("kt,kt->t", z, solved), rel=1e-9)
    assert of_all == pytest.approx(solved.sum(axis=0), rel=1e-9)
    assert of_y == pytest.approx(solved.T @ (columns[0] - fit.centre), rel=1e-8)
    for rows, blocks in fit.model.blocks(fit.best.theta):
        for own, block in zip(rows, blocks, strict=True):
            assert block == pytest.approx(marginal[np.ix_(own, own)], rel=1e-12)


@pytest.mark.parametrize("crossed", [False, True])
def test_without_a_tester_it_is_the_pool_of_the_others(crossed):
    columns, zero, scale = with_zeros(testers=9, kinds=(3,))
    product = np.random.default_rng(1).integers(0, 3, len(zero))
    whole = pool(*columns, zero=zero, scale=scale, crossed={"product": product} if crossed else {})
    others = columns[3] != 4
    rest = pool(
        *(column[others] for column in columns),
        zero=zero[others],
        scale=scale[others],
        crossed={"product": product[others]} if crossed else {},
    )
    at = whole.leave_one_out.tester.tolist().index(4)
    assert whole.leave_one_out.mu[at] == pytest.approx(rest.mu, abs=1e-9)
    assert whole.leave_one_out.se_model[at] == pytest.approx(rest.se_model, rel=1e-6)


def test_a_pool_without_zero_errors_is_the_same_to_the_digit():
    columns = world(6, seed=4)
    of_scale = pool(*columns, zero=np.zeros(columns[0].size), scale=columns[3])
    np.testing.assert_equal(asdict(of_scale), asdict(pool(*columns)))


def test_an_error_that_no_other_set_shares_counts_with_the_sets_own():
    columns = world(6, seed=4)
    zero = np.linspace(0.01, 0.05, columns[0].size)
    alone = pool(*columns, zero=zero, scale=np.arange(zero.size))
    wider = (columns[0], columns[1] + zero**2, *columns[2:])
    assert alone.mu == pytest.approx(pool(*wider).mu, abs=1e-12)
    assert alone.tau2_tester == pytest.approx(pool(*wider).tau2_tester, rel=1e-9)


def test_what_is_no_error_of_a_scale_is_refused():
    columns = world(6, seed=4)
    k = columns[0].size
    with pytest.raises(NotNested, match="scale 7 lies in more than one tester"):
        pool(*columns, zero=0.01, scale=np.full(k, 7))
    with pytest.raises(ShapeMismatch):
        pool(*columns, zero=np.full(k + 1, 0.01), scale=columns[3])
    with pytest.raises(ShapeMismatch):
        pool(*columns, zero=np.full((k + 1, 3), 0.01), scale=columns[3])
    with pytest.raises(TooExtreme):
        pool(*columns, zero=1e6, scale=columns[3])
