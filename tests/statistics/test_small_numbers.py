"""Figures of few testers keep what they promise in worlds drawn by other rules than the methods'.

Bands are the promise and three Monte Carlo errors of the number of worlds drawn.
"""

import numpy as np
import pytest

from results.statistics.contrasts import within_baseline_contrasts
from results.statistics.network import network
from tests.statistics.heavy_worlds import World, draw

pytestmark = pytest.mark.slow


def margin(share, worlds):
    """Three Monte Carlo errors of a share that is counted."""
    return 3 * np.sqrt(share * (1 - share) / worlds)


@pytest.mark.parametrize("testers", [3, 5, 10])
def test_equal_joins_are_found_to_differ_in_at_most_5_of_100_line_pairs(testers):
    rng, worlds = np.random.default_rng(testers), 200
    world = World(testers, efficiencies=(0.82,) * 5, shared=0.8)
    found, alone = [], []
    for _ in range(worlds):
        sets = draw(rng, world)
        contrasts = within_baseline_contrasts(
            sets.y, sets.own_variance, sets.join.astype(str), sets.tester, sets.session
        )
        differences = network(contrasts, "0").differences
        found.append(min(each.p_holm for each in differences) <= 0.05)
        alone.append(min(each.p for each in differences) <= 0.05)
    assert np.mean(found) <= 0.05 + margin(0.05, worlds)
    assert np.mean(alone) > 0.2  # what the adjustment is for
