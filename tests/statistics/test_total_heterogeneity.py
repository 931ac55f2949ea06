"""The interval of the whole heterogeneity where a level came out as zero."""

import math

import numpy as np

from results.statistics.pooling import pool


def test_scatter_left_at_a_level_estimated_as_zero_leaves_the_upper_end_open_without_a_crash():
    y = np.array([-0.20, -0.26, -0.22, -0.10, -0.17, -0.13, -0.31, -0.24, -0.27])
    tester, session = np.repeat([0, 1, 2], 3), np.arange(9)
    found = pool(y, np.full(9, 0.002), np.full(9, 0.0005), tester, session, session)
    assert "session" in found.at_boundary
    low, high = found.I2_total_interval
    assert 0.0 <= low <= found.I2_total <= high <= 1.0
    assert found.H2_interval[1] > found.H2
    assert math.isinf(found.H2_interval[1]) == (high == 1.0)
