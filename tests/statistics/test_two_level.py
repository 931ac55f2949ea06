"""The named two-level methods against R's metafor, PyMARE and statsmodels."""

import numpy as np
import pytest
from pymare import Dataset
from pymare.estimators import VarianceBasedLikelihoodEstimator
from statsmodels.stats.meta_analysis import combine_effects

from deploy.benchmarks.agreement.two_level_pool import (
    leave_one_out,
    pool_two_level,
    q_profile,
)
from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch, TooFewSets

METHODS = ("DL", "PM", "REML", "ML")


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("name", ["random-effects-methods", "random-effects-low-heterogeneity"])
def test_every_method_agrees_with_metafor_to_nine_digits(pooling_reference, name, method):
    given = pooling_reference(name)
    y, v, expected = given["data"]["yi"], given["data"]["vi"], given["expected"][method]
    normal, adjusted = (pool_two_level(y, v, method, by) for by in ("normal", "knapp-hartung"))
    assert normal.tau2 == pytest.approx(expected["tau2"], rel=1e-9)
    assert normal.mu == pytest.approx(expected["mu"], rel=1e-9)
    assert [normal.ci_low, normal.ci_high] == pytest.approx(expected["normal"]["ci"], rel=1e-9)
    assert [adjusted.ci_low, adjusted.ci_high] == pytest.approx(
        expected["knapp_hartung"]["ci"], rel=1e-9
    )
    ahead = expected["prediction_interval"]["knapp_hartung_se_t_k_minus_1"]
    assert adjusted.prediction_interval(len(y) - 1) == pytest.approx(ahead, rel=1e-9)


@pytest.mark.parametrize("name", ["random-effects-methods", "random-effects-low-heterogeneity"])
def test_the_q_profile_interval_agrees_and_may_start_at_zero(pooling_reference, name):
    given = pooling_reference(name)
    found = q_profile(given["data"]["yi"], given["data"]["vi"])
    expected = given["expected"]["Q_profile_95"]
    assert found.tau2 == pytest.approx(expected["tau2"], rel=1e-9)
    assert pytest.approx(expected["H2"], rel=1e-9) == found.H2


def test_values_that_agree_too_well_leave_the_q_profile_empty():
    found = q_profile([0.1, 0.1001, 0.0999, 0.1], [1.0, 1.0, 1.0, 1.0])
    assert found.empty
    assert found.tau2 == (0.0, 0.0)


def test_leave_one_out_agrees_with_metafor(pooling_reference):
    given = pooling_reference("random-effects-methods")
    expected = given["expected"]["leave_one_out_REML_knapp_hartung"]
    without = leave_one_out(given["data"]["yi"], given["data"]["vi"])
    assert [one.mu for one in without] == pytest.approx(expected["mu"], rel=1e-9)
    assert [one.tau2 for one in without] == pytest.approx(expected["tau2"], rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_restricted_likelihood_and_paule_mandel_agree_with_other_programs(seed):
    rng = np.random.default_rng(seed)
    v = rng.uniform(0.01, 0.05, 15)
    y = rng.normal(0.2, np.sqrt(v + 0.05))
    data = Dataset(y=y[:, None], v=v[:, None], X=np.ones((15, 1)), add_intercept=False)
    other = VarianceBasedLikelihoodEstimator(method="REML").fit_dataset(data).summary()
    assert pool_two_level(y, v, "REML").tau2 == pytest.approx(
        float(np.ravel(other.tau2)[0]), rel=1e-3
    )
    paule_mandel = combine_effects(y, v, method_re="iterated", atol=1e-12)
    assert pool_two_level(y, v, "PM").tau2 == pytest.approx(float(paule_mandel.tau2), rel=1e-4)


@pytest.mark.parametrize(
    ("y", "v", "error"),
    [
        ([0.1], [0.01], TooFewSets),
        ([0.1, np.nan], [0.01, 0.01], NotFinite),
        ([0.1, 0.2], [0.01, 0.0], NotPositive),
        ([0.1, 0.2], [0.01], ShapeMismatch),
    ],
)
def test_what_cannot_be_pooled_is_refused_by_name(y, v, error):
    with pytest.raises(error):
        pool_two_level(y, v)
