"""A pull that nine in ten exceed, where pulls are Weibull and their level is normal."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import gamma
from scipy.stats import norm, weibull_min

from results.statistics.errors import NotFinite, NotPositive
from results.statistics.weibull_pulls import scale_of, weibull_quantile


@pytest.mark.parametrize("shape", [0.8, 2.0, 10.0, 35.0])
def test_the_scale_is_that_of_the_distribution_with_this_coefficient_of_variation(shape):
    """Against scipy's moments of the distribution."""
    mean, variance = weibull_min.stats(shape, moments="mv")
    assert scale_of(float(np.sqrt(variance) / mean)) == pytest.approx(1 / shape, rel=1e-7)


def test_below_a_ten_thousandth_the_scale_goes_on_without_a_step():
    assert scale_of(0.99e-4) / 0.99 == pytest.approx(scale_of(1.01e-4) / 1.01, rel=1e-3)


@pytest.mark.parametrize("cv", [0.03, 0.07, 0.15])
@pytest.mark.parametrize("level_sd", [0.0, 0.02, 0.05, 0.2])
def test_the_quantile_is_that_of_the_integral_over_the_level(cv, level_sd):
    """Against adaptive quadrature and a root search."""
    shape = 1 / scale_of(cv)
    smallest = 1 / gamma(1 + 1 / shape)

    def below(point, sd):
        def given_level(z):
            return weibull_min.cdf(np.exp(point - sd * z), shape, scale=smallest) * norm.pdf(z)

        return quad(given_level, -8, 8, limit=200)[0] if sd else given_level(0) / norm.pdf(0)

    true = brentq(lambda point: below(point, level_sd) - 0.1, -2, 0)
    (found,) = weibull_quantile(np.zeros(1), np.array([level_sd**2]), cv, 0.1)
    assert abs(found - true) < 0.008 * np.hypot(cv, level_sd)


def test_a_coefficient_of_variation_that_is_none_is_refused_by_name():
    with pytest.raises(NotPositive):
        scale_of(0.0)
    with pytest.raises(NotFinite):
        scale_of(float("nan"))
