"""One's own value, drawn toward a pool of which it is uncertain how much testers differ."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from scipy.stats import t as student

from results.statistics.comparison import OwnMean
from results.statistics.errors import NotEstimable, ShapeMismatch
from results.statistics.pool_fit import fit_pool
from results.statistics.prediction import log_half_t, variance_grid
from results.statistics.quantiles import mixture_quantile
from results.statistics.shrinking import LikelyVariances, likely_variances, shrunken_value
from tests.statistics.worlds import world


def known(variance=0.0, between=0.04**2):
    """A pool whose variances are known, so that there is one value of each."""
    one = np.zeros((1, 1))
    return LikelyVariances(
        np.zeros((1, 2)), np.array([between]), one, one + np.log(0.80), one + variance
    )


def own(ratio, se):
    return [OwnMean(float(np.log(ratio)), se**2, 4, 4)]


def test_of_known_variances_it_is_the_best_linear_unbiased_predictor():
    """Henderson's, by hand: weight tau2 / (tau2 + v), variance weight times v."""
    found = shrunken_value(known(), own(0.70, se=0.03))
    weight = 0.04**2 / (0.04**2 + 0.03**2)
    value = np.log(0.80) + weight * np.log(0.70 / 0.80)
    half = norm.ppf(0.975) * np.sqrt(weight) * 0.03
    assert found.weight == pytest.approx(weight, rel=1e-12)
    assert np.log(found.value) == pytest.approx(value, rel=1e-12)
    assert np.log(found.low) == pytest.approx(value - half, rel=1e-9)
    assert np.log(found.high) == pytest.approx(value + half, rel=1e-9)


def test_few_own_pulls_are_drawn_to_the_pool_more_than_many():
    few, many = (shrunken_value(known(), own(0.70, se)) for se in (0.08, 0.005))
    assert few.weight < 0.25
    assert many.weight > 0.98
    assert 0.70 < many.value < few.value < 0.80


def test_a_pool_that_is_itself_uncertain_draws_less():
    sure, unsure = (shrunken_value(known(variance=v), own(0.70, 0.03)) for v in (0.0, 0.05**2))
    assert unsure.weight > sure.weight
    assert unsure.high / unsure.low > sure.high / sure.low


def test_where_no_difference_between_testers_was_seen_it_does_not_count_as_none():
    columns = world(3, seed=0, sds=(0.0, 0.0, 0.0))
    fit = fit_pool(*columns)
    assert fit.best.theta[0] == 0
    others = likely_variances(fit)
    far = [OwnMean(others.mu[0, 0] + 0.2, 0.01**2, 4, 4)] * others.within.shape[0]
    found = shrunken_value(others, far)
    assert found.weight > 0.5
    assert np.log(found.high) > others.mu[0, 0] + 0.19


def test_the_prior_is_a_half_t_of_the_standard_deviation():
    sd = np.array([0.01, 0.1, 0.5])
    density = 2 * student.pdf(sd / 0.1, 4) / 0.1 * sd / 2  # of ln(variance)
    found = np.exp(log_half_t(sd**2, 0.1))
    assert found / found[0] == pytest.approx(density / density[0], rel=1e-12)


def test_its_interval_is_that_of_the_integral_over_how_much_testers_differ():
    """Against adaptive quadrature of the same posterior, one component free."""
    rng = np.random.default_rng(5)
    y, error = rng.normal(-0.2, 0.06, 4), np.full(4, 0.03**2)
    fit = fit_pool(y, error, np.zeros(4), np.arange(4), np.arange(4), np.arange(4))
    mine = OwnMean(-0.05, 0.03**2, 1, 1)
    others = likely_variances(fit)
    found = shrunken_value(others, [mine] * others.within.shape[0])

    def below(point):
        def weighed(sd, of_value):
            whole = sd**2 + error[0]
            mu, variance = y.mean(), whole / 4
            restricted = np.exp(-((y - mu) ** 2).sum() / whole / 2) * whole**-1.5
            prior = variance + sd**2
            marginal = norm.pdf(mine.log_ratio, mu, np.sqrt(prior + mine.variance))
            share = prior / (prior + mine.variance)
            middle = mu + share * (mine.log_ratio - mu)
            chance = norm.cdf(point, middle, np.sqrt(share * mine.variance)) if of_value else 1
            return student.pdf(sd / 0.1, 4) * restricted * marginal * chance

        return quad(weighed, 0, 3, args=(True,))[0] / quad(weighed, 0, 3, args=(False,))[0]

    assert below(np.log(found.low)) == pytest.approx(0.025, abs=0.001)
    assert below(np.log(found.high)) == pytest.approx(0.975, abs=0.001)


def test_what_cannot_be_weighed_is_refused_by_name():
    with pytest.raises(ShapeMismatch, match="every variance within testers"):
        shrunken_value(known(), [])
    with pytest.raises(NotEstimable, match="any factor"):
        shrunken_value(known(between=1e6), own(0.8, se=1e3))
    with pytest.raises(NotEstimable, match="no upper end"):
        variance_grid(0.1, (0.0, np.inf), 9)


def test_a_quantile_of_a_mixture_lies_between_those_of_its_parts():
    weight, mean, sd = np.array([0.5, 0.5]), np.array([0.0, 10.0]), np.array([1.0, 1.0])
    assert mixture_quantile(weight, mean, sd, 0.5) == pytest.approx(5, abs=1e-6)
    assert mixture_quantile(weight, mean, sd, 0.05) == pytest.approx(norm.ppf(0.1), abs=1e-6)


def test_a_quantile_of_a_mixture_is_where_its_distribution_has_that_value():
    """Parts far apart, far wider than others, and of next to no weight, in the tails as well."""
    rng = np.random.default_rng(16)
    for _ in range(300):
        parts = int(rng.integers(1, 30))
        weight, mean = rng.dirichlet(np.full(parts, 0.3)), rng.normal(0, 10, parts)
        sd = 10 ** rng.uniform(-4, 2, parts)
        share = float(rng.choice([1e-6, 0.025, 0.5, 0.975]))
        found = mixture_quantile(weight, mean, sd, share)
        near = 1e-12 * (abs(found) + sd.min())
        below, above = (weight @ norm.cdf(found + side, mean, sd) for side in (-near, near))
        assert below - 1e-15 <= share <= above + 1e-15


def test_where_line_products_are_fitted_the_variances_within_testers_are_two_as_elsewhere():
    columns = world(12, seed=2)
    product = np.arange(columns[0].size) % 5
    fit = fit_pool(*columns, crossed={"line_product": product})
    assert fit.best.theta.size == 4
    others = likely_variances(fit)
    assert others.within.shape[1] == 2
    alike = likely_variances(fit_pool(*columns))
    mean = [OwnMean(float(np.mean(columns[0])), 0.02**2, 4, 4)]
    by_both = [shrunken_value(each, mean * each.within.shape[0]) for each in (others, alike)]
    assert by_both[0].value == pytest.approx(by_both[1].value, rel=0.03)
