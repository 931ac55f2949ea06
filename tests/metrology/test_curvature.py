"""Residuals show a curved load cell that its correlation hides."""

import numpy as np
import pytest

from rigs.metrology.curvature import curvature
from rigs.metrology.errors import NotFinite, TooFewCheckWeights, UnequalLengths


def test_the_certified_quadratic_of_a_load_cell_is_met_to_nine_digits(reference):
    pontius = reference("certified-regression-and-univariate")["pontius"]  # NIST StRD
    certified, fitted = pontius["certified"], curvature(pontius["load"], pontius["deflection"])
    for power in range(3):
        assert fitted.coefficients[power] == pytest.approx(certified[f"b{power}"], rel=1e-9, abs=0)
        assert fitted.standard_uncertainties[power] == pytest.approx(
            certified[f"u_b{power}"], rel=1e-9, abs=0
        )
    assert fitted.residual_sd_N == pytest.approx(certified["residual_sd"], rel=1e-9)


def test_a_slightly_curved_load_cell_is_found_out(reference):
    cell = reference("calibration-line-load-cell")  # NIST/SEMATECH 2.3.6.5
    expected = cell["expected_computed"]["quadratic"]
    fitted = curvature(cell["data"]["load"], cell["data"]["reading"])
    assert fitted.coefficients == pytest.approx(expected["coefficients"], rel=1e-8, abs=0)
    assert fitted.standard_uncertainties == pytest.approx(
        expected["standard_uncertainties"], rel=1e-8, abs=0
    )
    assert fitted.residual_sd_N == pytest.approx(expected["residual_sd"], rel=1e-8)
    assert fitted.df == expected["degrees_of_freedom"]
    assert fitted.p_value < 1e-20
    assert fitted.bend_percent < 0.05


def test_a_straight_rig_is_called_curved_about_as_often_as_the_test_says():
    rng = np.random.default_rng(4)
    forces = np.repeat([25.0, 50, 75, 100, 150, 200], 3)
    p = [curvature(forces, forces + rng.normal(0, 0.5, forces.size)).p_value for _ in range(2000)]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.015)


def test_three_check_weights_cannot_show_a_curve():
    with pytest.raises(TooFewCheckWeights):
        curvature([20, 40, 60, 60], [20, 40, 60, 61])
    with pytest.raises(UnequalLengths):
        curvature([20, 40, 60, 80], [20, 40])
    with pytest.raises(NotFinite):
        curvature([20, 40, 60, 80], [20, 40, 60, float("inf")])
