"""The interval of the whole heterogeneity where a level came out as zero."""

import math

import numpy as np

from results.statistics.pooling import pool
from tests.statistics.worlds import world


def test_scatter_left_at_a_level_estimated_as_zero_leaves_the_upper_end_open_without_a_crash():
    y = np.array([-0.20, -0.26, -0.22, -0.10, -0.17, -0.13, -0.31, -0.24, -0.27])
    tester, session = np.repeat([0, 1, 2], 3), np.arange(9)
    found = pool(y, np.full(9, 0.002), np.full(9, 0.0005), tester, session, session)
    assert "session" in found.at_boundary
    low, high = found.I2_total_interval
    assert 0.0 <= low <= found.I2_total <= high <= 1.0
    assert found.H2_interval[1] > found.H2
    assert math.isinf(found.H2_interval[1]) == (high == 1.0)


def test_the_share_of_each_level_lies_between_the_shares_at_its_variances_profile_ends():
    columns = world(12, 3)
    found = pool(*columns)
    total = found.tau2_tester + found.tau2_session + found.tau2_set
    for level in ("tester", "session", "set"):
        estimate = getattr(found, f"I2_{level}")
        low, high = getattr(found, f"I2_{level}_interval")
        low_tau2, high_tau2 = getattr(found, f"tau2_{level}_interval")
        others = total - getattr(found, f"tau2_{level}")
        typical = found.typical_sampling_variance
        assert low <= estimate <= high
        assert low == low_tau2 / (low_tau2 + others + typical)
        assert high == high_tau2 / (high_tau2 + others + typical)
