"""A tester hangs check weights and learns gain, zero error and how sure both are."""

import numpy as np
import pytest

from rigs.metrology.calibration import calibration_line, farthest_off
from rigs.metrology.errors import (
    AllTheSameMass,
    NotFinite,
    ReadingFallsWithForce,
    TooFewCheckWeights,
    UnequalLengths,
)

FORCES = np.array([20.0, 40.0, 60.0, 80.0, 100.0])


def test_the_line_of_the_guide_to_uncertainty_is_met_to_every_printed_digit(reference):
    gum = reference("calibration-line-thermometer")  # JCGM 100:2008, annex H.3
    printed, data = gum["expected_printed"], gum["data"]
    above_reference = np.array(data["temperature_C"]) - data["reference_temperature_C"]
    line = calibration_line(above_reference, data["correction_C"])
    assert line.offset_N == pytest.approx(printed["intercept"], abs=5e-5)
    assert line.u_offset_N == pytest.approx(printed["u_intercept"], abs=5e-5)
    assert line.gain == pytest.approx(printed["slope"], abs=5e-6)
    assert line.u_gain == pytest.approx(printed["u_slope"], abs=5e-6)
    assert line.correlation == pytest.approx(printed["correlation"], abs=5e-3)
    assert line.residual_sd_N == pytest.approx(printed["residual_sd"], abs=5e-5)
    at_30 = line.offset_N + 10 * line.gain
    covariance = line.correlation * line.u_offset_N * line.u_gain
    u_at_30 = (line.u_offset_N**2 + 100 * line.u_gain**2 + 20 * covariance) ** 0.5
    assert at_30 == pytest.approx(printed["correction_at_30C"], abs=5e-5)
    assert u_at_30 == pytest.approx(printed["u_correction_at_30C"], abs=5e-5)


def test_the_certified_line_is_met_to_eleven_digits(reference):
    norris = reference("certified-regression-and-univariate")["norris"]  # NIST StRD
    line, certified = calibration_line(norris["x"], norris["y"]), norris["certified"]
    assert line.offset_N == pytest.approx(certified["intercept"], rel=1e-10)
    assert line.gain == pytest.approx(certified["slope"], rel=1e-11)
    assert line.u_offset_N == pytest.approx(certified["u_intercept"], rel=1e-11)
    assert line.u_gain == pytest.approx(certified["u_slope"], rel=1e-11)
    assert line.residual_sd_N == pytest.approx(certified["residual_sd"], rel=1e-11)
    assert line.residuals @ line.residuals == pytest.approx(
        certified["residual_sum_of_squares"], rel=1e-11
    )


def test_a_load_cell_gives_the_load_behind_a_reading_and_its_uncertainty(reference):
    cell = reference("calibration-line-load-cell")  # NIST/SEMATECH e-Handbook 2.3.6.5
    line = calibration_line(cell["data"]["load"], cell["data"]["reading"])
    straight = cell["expected_computed"]["straight_line"]
    assert [line.offset_N, line.gain] == pytest.approx(straight["coefficients"], rel=1e-9)
    assert [line.u_offset_N, line.u_gain] == pytest.approx(
        straight["standard_uncertainties"], rel=1e-9
    )
    assert line.correlation == pytest.approx(straight["correlation"], rel=1e-9)
    assert line.df == straight["degrees_of_freedom"]
    for row in cell["expected_computed"]["inverse_by_straight_line"]:
        assert line.load(row["reading"]) == pytest.approx(row["load"], rel=1e-9)
        assert line.u_load(row["reading"], row["number_of_readings"]) == pytest.approx(
            row["u_load"], rel=1e-9
        )


def test_a_column_of_readings_becomes_a_column_of_loads():
    line = calibration_line(FORCES, 0.9 * FORCES - 6 + np.array([0.1, -0.1, 0, -0.1, 0.1]))
    readings = np.array([[30.0, 48.0], [66.0, 84.0]])
    assert line.load(readings) == pytest.approx((readings - line.offset_N) / line.gain)
    assert line.u_load(readings).shape == (2, 2)


def test_a_zero_error_is_distinguished_from_noise():
    noise = np.array([0.1, -0.2, 0.2, -0.2, 0.1])
    assert not calibration_line(FORCES, FORCES - 6 + noise).offset_is_zero
    assert calibration_line(FORCES, FORCES + noise).offset_is_zero


def test_reading_a_doubtful_weight_again_and_again_does_not_make_it_certain():
    rng = np.random.default_rng(1)
    u_force = 0.01 * FORCES
    gains, stated = [], []
    for _ in range(400):
        true_forces = np.repeat(FORCES + u_force * rng.standard_normal(FORCES.size), 10)
        readings = true_forces + 0.05 * rng.standard_normal(true_forces.size)
        line = calibration_line(np.repeat(FORCES, 10), readings, np.repeat(u_force, 10))
        gains.append(line.gain)
        stated.append(line.u_gain)
    assert np.mean(stated) == pytest.approx(np.std(gains), rel=0.15)


@pytest.mark.parametrize(
    ("gain", "explanation"),
    [(0.2248, "shows lbf but its readings were entered as N"),
     (4.6, "shows N but its readings were entered as lbf"),
     (0.1, "shows kgf but its readings were entered as N"),
     (9.8, "shows N but its readings were entered as kgf"),
     (2.2, "shows lbf but its readings were entered as kgf"),
     (0.45, "shows kgf but its readings were entered as lbf")],
)  # fmt: skip
def test_a_gain_near_a_ratio_of_units_raises_a_suspicion(gain, explanation):
    assert explanation in calibration_line(FORCES, gain * FORCES).unit_mix_up.explanation


@pytest.mark.parametrize("gain", [0.9, 1.0, 1.05, 0.7, 3.0])
def test_an_ordinary_rig_raises_no_suspicion_of_units(gain):
    assert calibration_line(FORCES, gain * FORCES).unit_mix_up is None


def test_two_check_weights_are_not_enough():
    with pytest.raises(TooFewCheckWeights, match="found 2 different"):
        calibration_line([0, 50, 100, 100], [0, 51, 99, 100])


def test_the_same_check_weight_throughout_gives_no_line():
    with pytest.raises(AllTheSameMass):
        calibration_line([50, 50, 50], [49, 50, 51])


def test_a_reading_that_falls_as_weight_is_added_is_refused():
    with pytest.raises(ReadingFallsWithForce, match="right columns"):
        calibration_line(FORCES, -FORCES)


def test_a_missing_reading_is_named_by_row_and_column():
    with pytest.raises(NotFinite, match="row 2, reading: found nan"):
        calibration_line([20, 40, 60], [20, float("nan"), 60])
    with pytest.raises(UnequalLengths):
        calibration_line([20, 40, 60], [20, 40])


def test_what_the_others_expect_of_a_reading_is_the_line_fitted_without_it():
    """The closed form beside leaving each reading out and fitting again, by polyfit of NumPy."""
    drawn = np.random.default_rng(7)
    for _ in range(50):
        forces = np.sort(drawn.uniform(0, 200, size=drawn.integers(4, 12)))
        readings = 1.02 * forces + 0.5 + drawn.normal(0, 0.3, forces.size)
        wrong = int(drawn.integers(forces.size))
        readings[wrong] += drawn.choice([-1, 1]) * drawn.uniform(40, 100)
        at, expected = farthest_off(forces, readings)
        assert at == wrong
        kept = np.arange(forces.size) != wrong
        again = np.polyval(np.polyfit(forces[kept], readings[kept], 1), forces[wrong])
        assert expected == pytest.approx(again, rel=1e-9)


@pytest.mark.parametrize(
    "columns",
    [([], []), ([5.0], [5.0]), ([0, 50, 100], [0, 90, 100]), ([50] * 4, [50, 51, 49, 90])],
    ids=["none", "one", "three", "one weight"],
)
def test_too_few_weights_give_no_reading_to_ask_about(columns):
    assert farthest_off(*columns) is None


def test_a_scale_that_is_two_percent_off_its_line_is_asked_nothing(reference):
    forces = np.tile(FORCES, 3)
    drawn = np.random.default_rng(3)
    for _ in range(200):
        assert farthest_off(forces, forces * (1 + drawn.uniform(-0.02, 0.02, forces.size))) is None
