"""Side-splitting in a network of many contrasts, where no pair gets a fit of its own."""

import pytest

from results.statistics.contrasts import within_baseline_contrasts
from results.statistics.network import network
from tests.statistics.test_network import league


@pytest.mark.parametrize("gap", [0.0, 0.2])
def test_gaps_without_a_fit_of_their_own_are_those_of_a_fit_each(monkeypatch, gap):
    contrasts = within_baseline_contrasts(*league(seed=3, testers=60, gap=gap))
    each = network(contrasts, "FG").inconsistencies
    monkeypatch.setattr("results.statistics.network.FEW", 0)
    together = network(contrasts, "FG").inconsistencies
    assert len(each) == len(together) > 0
    for one, other in zip(each, together, strict=True):
        assert (one.first, one.second) == (other.first, other.second)
        assert other.difference == pytest.approx(one.difference, abs=1e-3 * one.se)
        assert other.se == pytest.approx(one.se, rel=1e-3)
