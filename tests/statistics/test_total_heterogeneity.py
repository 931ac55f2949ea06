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


def test_a_misfit_that_levels_out_just_above_its_lower_point_leaves_the_upper_end_open():
    """A pool of the demo league with noise of 1 percent: its search once ran to 1e12, and broke."""
    found = pool(
        [
            -0.42736432384237794,
            -0.4515739885976126,
            -0.358526834565291,
            -0.23054036279500686,
            -0.22674430803064172,
            -0.2797989527328859,
        ],
        [
            0.004331364271348416,
            0.004331364271348416,
            0.004331364271348416,
            0.004331364271348416,
            0.0034635970255380015,
            0.0034635970255380015,
        ],
        [
            5.6094029029104345e-05,
            5.6094029029104345e-05,
            0.00011219120442181167,
            0.00011219120442181167,
            8.975195670109638e-05,
            8.975195670109638e-05,
        ],
        [0, 0, 1, 1, 2, 2],
        [0, 1, 2, 3, 4, 5],
        [0, 1, 2, 3, 4, 5],
    )
    assert found.H2_interval == (1.0, math.inf)
    assert found.I2_total_interval == (0.0, 1.0)
    assert found.not_estimable == {}
