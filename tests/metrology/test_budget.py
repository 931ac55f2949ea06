"""A tester sees what to improve first: the scale, the zero, the baseline or the tying."""

import numpy as np
import pytest

from rigs.metrology.budget import (
    Budget,
    BudgetRow,
    Cause,
    Pulls,
    efficiency_budget,
    load_budget,
    uncalibrated_zero,
)
from rigs.metrology.calibration import calibration_line
from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues

JOINED = Pulls(mean_N=70.0, cv=0.08, n=5, df=4)
STRAIGHT = Pulls(mean_N=92.0, cv=0.025, n=8, df=7)


def test_the_effective_degrees_of_freedom_are_those_of_the_guide():
    # JCGM 100:2008, example in G.4.1, from memory: 0.25, 0.57, 0.82 percent of 10, 5, 15 values.
    rows = tuple(
        BudgetRow(Cause.SCATTER, f"x{i}", "A", u, "percent", 1.0, n - 1)
        for i, (u, n) in enumerate([(0.25, 10), (0.57, 5), (0.82, 15)])
    )
    budget = Budget(100.0, rows)
    assert budget.combined == pytest.approx(1.03, abs=0.005)
    assert budget.effective_df == pytest.approx(19.0, abs=0.05)
    assert budget.expanded == pytest.approx(2.09 * 1.03, abs=0.01)


def test_a_load_has_the_uncertainty_of_the_published_inverse(reference):
    cell = reference("calibration-line-load-cell")  # NIST/SEMATECH 2.3.6.5
    line = calibration_line(cell["data"]["load"], cell["data"]["reading"])
    for row in cell["expected_computed"]["inverse_by_straight_line"]:
        budget = load_budget(line, row["reading"], 1e-5, row["number_of_readings"])
        assert budget.value == pytest.approx(row["load"], rel=1e-9)
        assert budget.combined == pytest.approx(row["u_load"], rel=1e-9)


def test_a_coarse_scale_that_hides_its_scatter_counts_by_its_step():
    forces = np.repeat([50.0, 100.0, 150.0, 200.0], 3)
    budget = load_budget(calibration_line(forces, forces), 100.0, resolution_N=5.0)
    assert budget.improve_first.source == "resolution"
    assert budget.improve_first.evaluation == "B"
    assert budget.combined == pytest.approx(5 / 12**0.5)


def test_the_zero_enters_an_efficiency_as_the_worked_example_says(reference):
    worked = reference("force-gravity-buoyancy-friction")["offset_in_an_efficiency"]["check"]
    joined, straight = worked["J_N"] + worked["offset_N"], worked["B_N"] + worked["offset_N"]
    budget = efficiency_budget(
        Pulls(joined, 0.05, 5, 4), Pulls(straight, 0.03, 5, 4), worked["offset_N"], 0.1
    )
    zero = next(row for row in budget.rows if row.source == "zero of the scale")
    assert budget.value == pytest.approx(worked["as_read"], rel=1e-9)
    # The sensitivity is the first-order one, the example the whole difference: o/B apart.
    assert zero.contribution == pytest.approx(worked["difference"], rel=0.025)


def test_the_gain_cancels_in_an_efficiency_and_is_shown_to():
    budget = efficiency_budget(JOINED, STRAIGHT, 0.1, 0.5, u_gain=0.02)
    gain = next(row for row in budget.rows if row.source.startswith("gain"))
    assert (gain.standard_uncertainty, gain.contribution) == (0.02, 0.0)


def test_scatter_combines_as_the_variance_of_a_log_ratio_does():
    # Hedges, Gurevitch & Curtis 1999, eq. 1: var(ln R) = CV_J^2/n_J + CV_B^2/n_B.
    budget = efficiency_budget(JOINED, STRAIGHT, 0.0, 0.5)
    assert (budget.combined / budget.value) ** 2 == pytest.approx(0.08**2 / 5 + 0.025**2 / 8)


@pytest.mark.parametrize(
    ("joined", "straight", "u_zero", "resolution", "source"),
    [(JOINED, STRAIGHT, 0.1, 0.5, "tying: scatter of joined pulls"),
     (JOINED, Pulls(92.0, 0.09, 3, 2), 0.1, 0.5, "baseline: scatter of straight pulls"),
     (JOINED, STRAIGHT, 20.0, 0.5, "zero of the scale"),
     (Pulls(70.0, 0.0, 5, 4), Pulls(92.0, 0.0, 5, 4), 0.1, 5.0, "resolution, joined pulls")],
)  # fmt: skip
def test_what_to_improve_first_is_the_largest_source(joined, straight, u_zero, resolution, source):
    budget = efficiency_budget(joined, straight, u_zero, resolution)
    assert budget.improve_first.source == source


def test_the_stated_uncertainty_is_the_scatter_of_simulated_sessions():
    rng = np.random.default_rng(6)
    zeros = rng.normal(0, 2.0, 20_000)
    joined = rng.normal(70, 70 * 0.08, (20_000, 5)).mean(axis=1) + zeros
    straight = rng.normal(92, 92 * 0.025, (20_000, 8)).mean(axis=1) + zeros
    budget = efficiency_budget(JOINED, STRAIGHT, 2.0, 0.5)
    assert budget.combined == pytest.approx(np.std(joined / straight), rel=0.02)


def test_a_rig_never_calibrated_has_a_wide_zero():
    # Rectangular, GUM 4.3.7; the half width is common practice, no source.
    assert uncalibrated_zero(0.5, 300) == pytest.approx(3 / 3**0.5)
    assert uncalibrated_zero(5.0, 300) == pytest.approx(5 / 3**0.5)


def test_a_budget_of_nothing_is_refused():
    with pytest.raises(NotPositive, match="straight pulls"):
        efficiency_budget(JOINED, Pulls(0.0, 0.05, 5, 4), 0.1, 0.5)
    with pytest.raises(TooFewValues, match="joined pulls: found 0"):
        efficiency_budget(Pulls(70.0, 0.05, 0, 4), STRAIGHT, 0.1, 0.5)
    with pytest.raises(NotFinite):
        efficiency_budget(JOINED, Pulls(float("nan"), 0.05, 5, 4), 0.1, 0.5)
    with pytest.raises(NotPositive, match="resolution: found 0"):
        efficiency_budget(JOINED, STRAIGHT, 0.1, 0)
