"""Line products that testers share: against all matrices at once, and against statsmodels."""

from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from results.statistics.components import likelihood_at
from results.statistics.crossed_errors import CrossedErrors
from results.statistics.crossed_factors import identifiable_factors, is_identifiable
from results.statistics.errors import ShapeMismatch
from results.statistics.pool_fit import fit_pool, nested_errors
from results.statistics.pooling import pool
from tests.statistics.worlds import world

THETAS = np.array(
    [[1e-3, 2e-4, 3e-4, 5e-4, 1e-4], [0, 0, 1e-4, 2e-3, 0], [1e-3, 0, 0, 0, 0], [2, 1, 1, 3, 0.5]]
)


def with_levels(testers=7, seed=3, levels=(3, 4)):
    """A pool, and levels of two factors that cross its testers, some of them unknown."""
    rng = np.random.default_rng(seed)
    columns = world(testers, seed=seed)
    k = columns[0].size
    return columns, np.stack([rng.integers(-(at > 0), q, k) for at, q in enumerate(levels)], axis=1)


def all_at_once(columns, levels, theta):
    """Covariance M (k, k) and the matrix K of each component."""
    _, own, shared, tester, session, baseline = (np.asarray(column) for column in columns)
    same = [(code[:, None] == code).astype(float) for code in (tester, session, baseline)]
    of_factors = [(f[:, None] == f) * (f >= 0.0) for f in levels.T]
    kinds = [same[0], same[1], np.eye(own.size), *of_factors]
    marginal = np.diag(own) + same[2] * shared
    return marginal + sum(t * k for t, k in zip(theta, kinds, strict=True)), kinds


def dense(y, marginal, kinds):
    """ln-likelihood, mu, its variance, score and observed information, by plain matrix algebra."""
    k, ones = y.size, np.ones((y.size, 1))
    inverse = np.linalg.inv(marginal)
    weight = float((ones.T @ inverse @ ones)[0, 0])
    p = inverse - inverse @ ones @ ones.T @ inverse / weight
    value = -0.5 * (
        (k - 1) * np.log(2 * np.pi)
        + np.linalg.slogdet(marginal)[1]
        + np.log(weight)
        - np.log(k)
        + y @ p @ y
    )
    score = [0.5 * (y @ p @ c @ p @ y - np.trace(p @ c)) for c in kinds]
    observed = [
        [y @ p @ c @ p @ d @ p @ y - 0.5 * np.trace(p @ c @ p @ d) for d in kinds] for c in kinds
    ]
    return value, float((inverse @ y).sum()) / weight, 1 / weight, score, observed


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_likelihood_is_that_of_all_matrices_at_once(seed):
    columns, levels = with_levels(seed=seed)
    model, centre = nested_errors(*columns)
    for theta, found in zip(
        THETAS, likelihood_at(CrossedErrors(model, levels))(THETAS), strict=True
    ):
        value, mu, variance, score, observed = dense(
            columns[0] - centre, *all_at_once(columns, levels, theta)
        )
        assert found.value == pytest.approx(value, rel=1e-10)
        assert found.beta[0] == pytest.approx(mu, rel=1e-8, abs=1e-10)
        assert found.covariance[0, 0] == pytest.approx(variance, rel=1e-9)
        assert found.score == pytest.approx(np.array(score), rel=1e-8)
        assert found.observed == pytest.approx(np.array(observed), rel=1e-8)


def test_effects_of_testers_are_those_of_all_matrices_at_once():
    columns, levels = with_levels()
    fit = fit_pool(*columns, crossed={"product": levels[:, 0]})
    marginal, _ = all_at_once(columns, levels[:, :1], fit.best.theta)
    z = (np.asarray(columns[3])[:, None] == fit.model.nesting.testers).astype(float)
    solved = np.linalg.solve(marginal, z)
    q, of_all, of_y = fit.model.towards_testers(fit.best.theta)
    assert q == pytest.approx(np.einsum("kt,kt->t", z, solved), rel=1e-9)
    assert of_all == pytest.approx(solved.sum(axis=0), rel=1e-9)
    assert of_y == pytest.approx(solved.T @ (columns[0] - fit.centre), rel=1e-8)


def test_sums_without_a_tester_are_those_of_the_other_sets():
    columns, levels = with_levels()
    model, _ = nested_errors(*columns)
    crossed = CrossedErrors(model, levels)
    without = crossed.without_each(THETAS[0])
    for at, tester in enumerate(model.nesting.testers):
        rest = CrossedErrors(
            model.some(np.asarray(columns[3]) != tester), levels[columns[3] != tester]
        )
        for name, sums in vars(rest.totals(THETAS[:1])).items():
            assert getattr(without, name)[at] == pytest.approx(sums[0], rel=1e-7), name


def test_without_a_tester_it_is_the_pool_of_the_others():
    columns, levels = with_levels(testers=9, levels=(3,))
    whole = pool(*columns, crossed={"product": levels[:, 0]})
    others = columns[3] != 4
    rest = pool(*(column[others] for column in columns), crossed={"product": levels[others, 0]})
    at = whole.leave_one_out.tester.tolist().index(4)
    assert whole.leave_one_out.mu[at] == pytest.approx(rest.mu, abs=1e-9)
    assert whole.leave_one_out.se_model[at] == pytest.approx(rest.se_model, rel=1e-6)


def test_it_agrees_with_statsmodels():
    """Equal errors and no shared baseline: then statsmodels' residual is error and set together."""
    rng = np.random.default_rng(5)
    tester = np.repeat(np.arange(12), 6)
    session, product = np.repeat(np.arange(36), 2), rng.integers(0, 5, 72)
    effects = (rng.normal(0, sd, n) for sd, n in ((0.05, 12), (0.05, 36), (0.06, 5)))
    y = sum(
        effect[code] for effect, code in zip(effects, (tester, session, product), strict=True)
    ) + rng.normal(0, 0.03, 72)
    fit = fit_pool(
        y,
        np.full(72, 1e-4),
        np.zeros(72),
        tester,
        session,
        np.arange(72),
        crossed={"product": product},
    )
    frame = pd.DataFrame({"y": y, "t": tester, "s": session, "p": product})
    parts = {name: f"0 + C({name})" for name in "tsp"}
    theirs = MixedLM.from_formula("y ~ 1", frame, groups=np.ones(72), vc_formula=parts).fit()
    variance = dict(zip(theirs.model.exog_vc.names, theirs.vcomp, strict=True))
    assert fit.centre + fit.best.likelihood.beta[0] == pytest.approx(
        theirs.fe_params.iloc[0], abs=1e-5
    )
    assert fit.best.theta == pytest.approx(
        [variance["t"], variance["s"], theirs.scale - 1e-4, variance["p"]], rel=0.01
    )


def test_a_pool_whose_products_cannot_be_told_is_the_same_to_the_digit():
    columns = world(6, seed=4)
    two = np.arange(columns[0].size) % 2
    of_one_tester_each = columns[3]
    crossed = {"product": two, "spool": of_one_tester_each, "round": -np.ones_like(two)}
    with_them, plain = pool(*columns, crossed=crossed), pool(*columns)
    np.testing.assert_equal(asdict(with_them), asdict(plain))
    assert with_them.crossed == {}


def test_three_products_of_two_testers_each_are_told():
    tester = [1, 2, 3, 1, 2, 3]
    assert is_identifiable([0, 0, 1, 1, 2, 2], tester)
    assert not is_identifiable([0, 0, 1, 1, 2, -1], tester)
    assert not is_identifiable([0, 0, 0, 1, 1, 1], tester)
    with pytest.raises(ShapeMismatch):
        is_identifiable([0, 1], tester)


def test_a_factor_that_groups_sets_as_another_is_fitted_once():
    columns, levels = with_levels(levels=(3,))
    names, found = identifiable_factors(
        {"product": levels[:, 0], "round": 7 - levels[:, 0]}, columns[3]
    )
    assert names == ("product",)
    assert found.shape == (columns[0].size, 1)


def test_products_that_differ_widen_what_is_said_of_a_new_one():
    rng = np.random.default_rng(8)
    tester = np.repeat(np.arange(24), 4)
    session, product = np.repeat(np.arange(48), 2), np.repeat(np.arange(48) % 6, 2)
    y = rng.normal(0, 0.02, 24)[tester] + 0.06 * (product - 2.5) + rng.normal(0, 0.01, 96)
    columns = (y, np.full(96, 1e-4), np.full(96, 1e-5), tester, session, session)
    plain, crossed = pool(*columns), pool(*columns, crossed={"product": product})
    assert crossed.crossed["product"].levels == 6
    assert np.sqrt(crossed.crossed["product"].tau2) == pytest.approx(0.11, abs=0.02)
    assert crossed.ci_high - crossed.ci_low > 2 * (plain.ci_high - plain.ci_low)
    assert crossed.tau2_session < plain.tau2_session / 10
    assert "product" in crossed.fitted
