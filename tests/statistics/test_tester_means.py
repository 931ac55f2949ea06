"""A tester's own mean is the generalised least-squares mean of that tester's sets."""

import numpy as np
import pytest
from statsmodels.regression.linear_model import GLS

from results.statistics.tester_means import means_by_tester

OWN = np.array([4e-4, 5e-4, 3e-4, 6e-4, 4e-4, 5e-4, 7e-4])
SHARED = np.array([2e-4, 2e-4, 3e-4, 2e-4, 2e-4, 1e-4, 1e-4])
Y = np.array([-0.20, -0.26, -0.15, -0.31, -0.22, -0.18, -0.12])
TESTER = np.array([7, 7, 7, 3, 3, 9, 9])
SESSION = np.array([1, 1, 2, 3, 4, 5, 5])
BASELINE = np.array([1, 1, 2, 3, 4, 5, 6])
TAU2_SESSION, TAU2_SET = 9e-4, 2e-4


def covariance() -> np.ndarray:
    """Dense, as the model is written: sets of a baseline and of a session vary together."""
    same_baseline = BASELINE[:, None] == BASELINE
    same_session = SESSION[:, None] == SESSION
    return np.diag(OWN + TAU2_SET) + SHARED * same_baseline + TAU2_SESSION * same_session


def test_means_and_intervals_are_those_of_dense_generalised_least_squares():
    found = means_by_tester(
        Y, OWN, SHARED, TESTER, SESSION, BASELINE, tau2_session=TAU2_SESSION, tau2_set=TAU2_SET
    )
    assert sorted(found.tester.tolist()) == [3, 7, 9]
    for place, tester in enumerate(found.tester):
        of = tester == TESTER
        fitted = GLS(Y[of], np.ones(of.sum()), sigma=covariance()[np.ix_(of, of)]).fit()
        error = np.sqrt(fitted.normalized_cov_params[0, 0])
        assert found.mean[place] == pytest.approx(fitted.params[0], rel=1e-9)
        assert found.low[place] == pytest.approx(fitted.params[0] - 1.959964 * error, rel=1e-6)
        assert found.high[place] == pytest.approx(fitted.params[0] + 1.959964 * error, rel=1e-6)
