"""An organiser learns whether one spool is the same for everybody."""

import numpy as np
import pytest

from results.statistics.errors import NotFinite, NotPositive, TooFewPulls
from results.statistics.rounds.homogeneity import homogeneity, stability


def test_the_worked_example_of_the_standard_is_homogeneous_and_stable(reference):
    worked = reference("spool-homogeneity-and-stability")  # ISO 13528:2022 E.2
    items, expected = worked["data"]["items_duplicates"], worked["expected_computed"]
    later = float(np.mean(worked["data"]["later_items_duplicates"]))
    found = homogeneity(items, sigma_pt=expected["sigma_pt"])
    for name in ("mean", "s_x", "s_w", "s_s"):
        assert getattr(found, name) == pytest.approx(expected[name], rel=1e-9)
    assert found.limit == pytest.approx(worked["expected_printed"]["limit_0.3_sigma_pt"], abs=5e-6)
    assert found.homogeneous
    at_end = stability(found.mean, later, expected["sigma_pt"])
    assert at_end.difference == pytest.approx(expected["difference"], rel=1e-9)
    assert at_end.stable


def test_a_spool_weaker_at_one_end_is_not_homogeneous():
    lengths = np.linspace(98, 90, 8)[:, None] + np.array([-0.5, 0.0, 0.5])
    found = homogeneity(lengths, sigma_pt=4.0)
    assert found.s_w == pytest.approx(0.5)
    assert not found.homogeneous
    assert not stability(98, 90, sigma_pt=4.0).stable


def test_single_lengths_say_nothing_of_homogeneity():
    with pytest.raises(TooFewPulls):
        homogeneity([[1.0], [2.0]], 1.0)
    with pytest.raises(TooFewPulls):
        homogeneity([1.0, 2.0], 1.0)
    with pytest.raises(NotFinite):
        homogeneity([[1.0, float("nan")], [1.0, 2.0]], 1.0)
    with pytest.raises(NotPositive):
        homogeneity([[1.0, 2.0], [1.0, 2.0]], 0.0)
