"""Units per set, and weak straight line: what a factor explains, and what leaves efficiencies."""

from itertools import permutations

import numpy as np
import pytest

from results.statistics.screening import straight_line
from results.statistics.screening.check import Level
from results.statistics.screening.units_of_sets import mixed_units_in_set, units_within_set
from rigs.metrology.units import FORCE_UNITS

OTHERS_N = (200.0, 210.0, 195.0, 204.0)


def test_the_checks_know_every_unit_that_a_reading_can_be_written_in():
    assert pytest.approx(FORCE_UNITS, rel=1e-12) == straight_line.NEWTONS
    assert straight_line.NEWTONS.keys() == straight_line.UNIT_NAMES.keys()


@pytest.mark.parametrize(("meant", "entered"), permutations(FORCE_UNITS, 2))
def test_a_set_in_any_wrong_unit_is_held_and_the_note_names_the_right_one(meant, entered):
    off = np.log(1.04 * FORCE_UNITS[entered] / FORCE_UNITS[meant])
    check = mixed_units_in_set("set 1", np.log(0.8) + off, np.log(0.8), 0.1, entered)
    assert check.level == Level.HOLD
    assert f"its unit is {meant}" in check.sentence


@pytest.mark.parametrize("times", [0.45, 0.55, 0.65, 1.5])
def test_a_set_as_weak_as_the_testers_others_is_no_slip_of_units(times):
    """``expected`` has in it what the tester's other sets lie off their pools."""
    weak = np.log(0.8 * times)
    assert mixed_units_in_set("set 1", weak, weak + 0.1, 0.1, "lbf").level == Level.NONE


def test_a_weak_tie_in_a_pool_that_scatters_much_is_no_slip_of_units():
    assert mixed_units_in_set("set 1", np.log(0.36), np.log(0.8), 0.3, "lbf").level == Level.NONE


def test_kilograms_in_half_of_a_set_are_found_and_pulls_that_scatter_are_not():
    rng = np.random.default_rng(3)
    loads = 100 * np.exp(0.05 * rng.standard_normal(10))
    assert units_within_set("set 1", loads) is None
    loads[::2] *= 0.45359237
    check = units_within_set("set 1", loads, "lbf")
    assert check.level == Level.HOLD
    assert "its unit is kgf" in check.sentence


def test_honest_sets_hardly_ever_fall_into_two_groups():
    """Scatter up to 25 percent; one in five pulls slips to anywhere from a third on."""
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(2000):
        n = int(rng.integers(4, 15))
        loads = 100 * np.exp(rng.uniform(0.03, 0.25) * rng.standard_normal(n))
        slips = rng.random(n) < 0.2
        loads[slips] *= rng.uniform(0.33, 0.9, slips.sum())
        check = units_within_set("set 1", loads, "lbf")
        held += check is not None and check.level == Level.HOLD
    assert held <= 20


def test_a_weak_spool_that_weakens_joins_as_well_marks_and_never_holds():
    alone = straight_line.against_other_baselines("the line", 130.0, OTHERS_N)
    both = straight_line.weak_under_strong_joins("the line", 130.0, OTHERS_N, [0.3, -0.4], 8)
    assert (alone.at_most, both.level) == (Level.MARK, Level.NONE)
    assert alone.p < 0.001


def test_weak_straight_line_under_strong_joins_is_held_and_a_strong_tyer_is_not():
    def check(straight_N, *joins_t):
        return straight_line.weak_under_strong_joins("the line", straight_N, OTHERS_N, joins_t, 8)

    assert check(150.0, 3.0, 3.5).level == Level.HOLD
    assert check(201.0, 3.0, 3.5).level == Level.NONE
    assert check(150.0) is None


def test_one_far_off_straight_line_among_four_changes_what_is_usual_by_little():
    honest = straight_line.usual_straight(OTHERS_N)
    found = straight_line.usual_straight([*OTHERS_N, 440.0])
    assert abs(found.centre - honest.centre) < 0.03
    assert found.sd < 1.3 * honest.sd


def test_a_factor_of_two_units_that_nobody_entered_names_none_to_put_it_right():
    """Newtons sent as pounds by a rig that reads low are 3.6 to 3.8 times what others found."""
    check = straight_line.unit_mix_up("straight", 3.6 * 100, [98.0, 100.0, 103.0], "lbf")
    assert check.level == Level.HOLD
    assert check.meant_unit == ""
    assert "If so, its unit is" not in check.sentence
    assert "Which unit do the scale and the file have?" in check.sentence
