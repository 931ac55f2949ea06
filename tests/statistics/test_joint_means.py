"""How the means of joins that the same testers tied vary together."""

import numpy as np
import pytest

from results.statistics.errors import ShapeMismatch, TooFewSets
from results.statistics.joint_means import correlation_of_means, scores_by_tester, steadied
from results.statistics.pool_fit import fit_pool
from results.statistics.pooling import pooled
from tests.statistics.heavy_worlds import World, draw
from tests.statistics.worlds import world


def test_squares_of_the_scores_add_up_to_the_robust_variance():
    """That of clubSandwich's form lies within a hundredth."""
    fit = fit_pool(*world(9, seed=4))
    found = scores_by_tester(fit)
    assert found.weight.sum() == pytest.approx(1)
    assert np.sqrt((found.score**2).sum()) == pytest.approx(pooled(fit).se_robust, rel=0.02)


def test_what_testers_share_makes_means_vary_together_as_it_does():
    """Against the means' own correlation over drawn worlds."""
    rng = np.random.default_rng(3)
    shared = World(12, None, efficiencies=(0.8, 0.85), shared=1.0, sessions=(1, 1))
    means, said = [], []
    for _ in range(60):
        sets = draw(rng, shared)
        fits = [fit_pool(*sets.columns(sets.join == join)) for join in (0, 1)]
        means.append([fit.centre + fit.best.likelihood.beta[0] for fit in fits])
        said.append(correlation_of_means([scores_by_tester(fit) for fit in fits])[0, 1])
    true = np.corrcoef(np.array(means).T)[0, 1]
    assert np.mean(said) == pytest.approx(true, abs=0.2)
    assert np.mean(said) > 0.3


def test_pools_without_a_common_tester_vary_each_by_itself():
    y, own, shared, tester, *codes = world(5, seed=1)
    one, other = fit_pool(y, own, shared, tester, *codes), fit_pool(y, own, shared, tester, *codes)
    alone = scores_by_tester(other)
    moved = type(alone)(alone.tester + 100, alone.score, alone.weight)
    assert correlation_of_means([scores_by_tester(one), moved]) == pytest.approx(np.eye(2))


def test_an_error_of_few_testers_is_drawn_to_what_is_usual():
    error, freedom = steadied(np.array([0.01, 0.05]), np.array([2.0, 2.0]), np.array([4.0, 4.0]))
    assert 0.01 < error[0] < error[1] < 0.05
    assert freedom == 6
    known, _ = steadied(np.array([0.01, 0.05]), np.full(2, 1e9), np.array([4.0, 4.0]))
    assert known == pytest.approx([0.01, 0.05])


def test_what_does_not_fit_together_is_refused_by_name():
    with pytest.raises(TooFewSets):
        correlation_of_means([])
    with pytest.raises(TooFewSets):
        steadied(np.zeros(0), np.zeros(0), np.zeros(0))
    with pytest.raises(ShapeMismatch):
        steadied(np.ones(2), np.ones(1), np.ones(2))
