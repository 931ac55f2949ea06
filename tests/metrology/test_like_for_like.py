"""Baseline and join are pulled alike, or the ratio says something else."""

import pytest

from deploy.benchmarks.agreement.like_for_like import (
    efficiency_as_read,
    length_ratio,
    rate_ratio,
)
from rigs.metrology.errors import NotFinite, NotPositive


def test_twice_the_length_is_weaker_as_the_weakest_link_says(reference):
    rows = reference("force-gravity-buoyancy-friction")["weakest_link_length"]["check"]
    for row in rows:  # Weibull 1939, Peirce 1926
        assert length_ratio(row["cv"], 2.0, 1.0) == pytest.approx(row["twice_the_length"], abs=6e-5)


def test_a_join_pulled_slower_than_its_baseline_reads_low():
    # Meredith 1953: 8 percent a tenfold change in time to break; 20 to 40 s gives 2.4 percent.
    assert 1 - rate_ratio(40, 20) == pytest.approx(0.024, abs=5e-4)
    assert 1 - rate_ratio(200, 20) == pytest.approx(0.08)


def test_a_zero_error_does_not_cancel_in_an_efficiency(reference):
    worked = reference("force-gravity-buoyancy-friction")["offset_in_an_efficiency"]["check"]
    as_read = efficiency_as_read(worked["J_N"], worked["B_N"], worked["offset_N"])
    assert as_read == pytest.approx(worked["as_read"], rel=1e-11)
    assert as_read - worked["true"] == pytest.approx(worked["difference"], rel=1e-9)


def test_lengths_times_and_loads_are_to_be_above_zero():
    with pytest.raises(NotPositive, match="length: found 0"):
        length_ratio(0.05, 0, 1)
    with pytest.raises(NotPositive, match="straight_as_read: found -1"):
        efficiency_as_read(2, 5, -6)
    with pytest.raises(NotFinite, match="seconds: found nan"):
        rate_ratio(float("nan"), 20)
