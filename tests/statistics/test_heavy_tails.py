"""The mean by heavy-tailed effects: as its distribution, and steady where one stands apart."""

import numpy as np
import pytest
from scipy.stats import norm, t

from results.statistics.errors import NotEstimable
from results.statistics.grids import quantiles_on_grid, where_dense
from results.statistics.heavy_tails import CHANCES, PRECISIONS, mean_by_heavy_tails
from results.statistics.pool_fit import fit_pool
from results.statistics.pooling import pooled


def pool_of(effects, sd=0.01):
    """One set a tester, whose log efficiency is its effect."""
    codes = np.arange(len(effects))
    own, none = np.full(len(effects), sd**2), np.zeros(len(effects))
    return fit_pool(np.asarray(effects), own, none, codes, codes, codes)


def test_the_mixture_of_normals_is_students_t_on_4_degrees_of_freedom():
    at = np.linspace(-8, 8, 33)
    mixed = (CHANCES * norm.pdf(at[:, None], scale=PRECISIONS**-0.5)).sum(axis=1)
    assert mixed == pytest.approx(t.pdf(at, 4), abs=0.004)


def test_one_who_stands_apart_moves_it_little_and_is_named():
    effects = norm.ppf((np.arange(20) + 0.5) / 20) * 0.03
    still = mean_by_heavy_tails(pool_of(effects))
    assert still.apart.size == 0
    assert still.mu == pytest.approx(0.0, abs=1e-6)
    assert still.low == pytest.approx(-still.high, abs=1e-6)
    normal = pooled(pool_of(effects))
    assert still.high - still.low == pytest.approx(normal.ci_high - normal.ci_low, rel=0.25)
    effects[19] = 0.5
    moved, normal = mean_by_heavy_tails(pool_of(effects)), pooled(pool_of(effects))
    assert moved.apart.tolist() == [19]
    assert abs(moved.mu) < 0.005
    assert normal.mu > 0.02
    assert normal.mu - moved.mu > (moved.high - moved.low) / 2


def test_quantiles_on_a_grid_are_those_of_the_distribution():
    at = np.linspace(-6, 6, 49)[None]
    ends = quantiles_on_grid(at, 7 * norm.pdf(at), (0.025, 0.5, 0.975))[0]
    assert ends == pytest.approx([-1.959964, 0.0, 1.959964], abs=0.01)
    low, high = where_dense(at, norm.pdf(at))
    assert norm.cdf(high[0]) - norm.cdf(low[0]) > 0.9999
    with pytest.raises(NotEstimable):
        quantiles_on_grid(at, 0 * at, (0.5,))
