"""A round's figures against the worked examples of the standards; each file names its source."""

import numpy as np
import pytest

from results.statistics.rounds.cells import Cell
from results.statistics.rounds.consistency import sample_precision
from results.statistics.rounds.flags import flags
from results.statistics.rounds.homogeneity import expanding_factors
from results.statistics.rounds.observations import Observations, Sample
from results.statistics.rounds.round_report import report
from results.statistics.rounds.scores import outcome, scored


def studied(cells, **more):
    """A round whose participants are the laboratories of one level of a published study."""
    names = {name: number for number, name in enumerate(cells, start=1)}
    rows = [(names[name], value) for name, values in cells.items() for value in values]
    who, loads = zip(*rows, strict=True)
    found = report(
        Observations(
            (Sample(1, tied_centrally=True),),
            tuple(names.values()),
            who,
            [1] * len(loads),
            loads,
            [False] * len(loads),
            **more,
        )
    )
    return found.samples[0]


@pytest.mark.parametrize("material", ["A", "B", "C", "D", "E"])
def test_glucose_in_serum_comes_out_as_astm_e691_has_it(reference, material):
    given = reference("interlaboratory-glucose-five-materials")
    expected = given["expected_computed"][material]
    found = studied(given["data"][material]).precision
    assert found.repeatability_sd_N == pytest.approx(expected["repeatability_sd"], rel=1e-9)
    assert found.reproducibility_sd_N == pytest.approx(expected["reproducibility_sd"], rel=1e-9)
    assert [one.h for one in found.each] == pytest.approx(expected["h"], rel=1e-8)
    assert [one.k for one in found.each] == pytest.approx(expected["k"], rel=1e-8)
    printed = reference("critical-values")["e691_0.5_percent"]  # p = 8, n = 3
    assert found.each[0].h_critical == pytest.approx(printed["h"]["8"], abs=0.0051)
    assert found.each[0].k_critical == pytest.approx(printed["k_n3"]["8"], abs=0.0051)
    assert not found.unequal


def test_the_one_cell_that_e691_questions_is_beyond_k_and_no_other_is(reference):
    given = reference("interlaboratory-glucose-five-materials")
    found = studied(given["data"]["C"])
    assert [one.participant for one in found.precision.each if one.k_beyond] == [4]
    assert [flag.participants for flag in found.flags if flag.test == "cochran"] == [(4,)]


def test_a_missing_laboratory_and_a_single_result_are_named_and_not_guessed(reference):
    given = reference("interlaboratory-pitch-missing-cells")
    first = studied(given["data"]["level_1"])
    assert first.missing == (8,)
    second = studied(given["data"]["level_2"])
    assert second.precision.left_out == (5,)
    for level, found in (("level_1", first), ("level_2", second)):
        expected = given["expected_computed"][level]
        assert found.precision.participants == expected["p"]
        assert found.precision.mean_N == pytest.approx(expected["mean"], rel=1e-9)
        assert found.precision.repeatability_sd_N == pytest.approx(
            expected["repeatability_sd"], rel=1e-9
        )
        assert found.precision.reproducibility_sd_N == pytest.approx(
            expected["reproducibility_sd"], rel=1e-9
        )


def test_two_laboratories_beside_each_other_are_flagged_together(reference):
    """ISO 5725-2, sulfur in coal, level 2: the two largest are a straggler, no single one is."""
    found = studied(reference("interlaboratory-coal-sulfur-unequal-n")["data"]["level_2"])
    (flag,) = [flag for flag in found.flags if flag.test != "cochran"]
    assert (flag.test, flag.percent) == ("double grubbs", 5)
    assert 6 in flag.participants
    assert flag.statistic == pytest.approx(0.107289204551, rel=1e-9)
    assert found.precision.unequal


def test_a_flagged_result_still_counts_everywhere(reference):
    cells = reference("interlaboratory-coal-sulfur-unequal-n")["data"]["level_2"]
    found = studied(cells)
    assert found.flags
    assert len(found.results) == len(found.scores) == len(found.precision.each) == 8


def test_mercury_in_feed_is_scored_as_iso_13528_prints(reference):
    given = reference("performance-scores")
    assigned = given["assigned_value"]
    for row in given["printed"]:
        found = scored(
            1,
            row["x"],
            assigned["x_pt"],
            assigned["U_x_pt_k2"] / 2,
            assigned["sigma_pt"],
            row["U"] / row["k"],
        )
        assert (found.z, found.z_prime, found.zeta) == pytest.approx(
            (row["z"], row["z_prime"], row["zeta"]), abs=0.0051
        )
        assert found.used == "z_prime"  # u(x_pt) of 0.0041 is more than 0.3 sigma_pt
        assert found.outcome == outcome(found.z_prime)


def test_scores_call_for_what_the_standard_says(reference):
    assert "<= 2 acceptable, 2 to 3 warning, >= 3 action" in str(
        reference("performance-scores")["limits"]
    )
    found = [outcome(score) for score in (0.0, -2.0, 2.01, -2.99, 3.0, -7.0)]
    assert found == ["acceptable", "acceptable", "warning", "warning", "action", "action"]


@pytest.mark.parametrize("case", ["E1_limit_ignored", "E1_below_limit_deleted"])
def test_the_assigned_value_is_that_of_algorithm_a(reference, case):
    given = reference("robust-location-and-scale")
    values, expected = given["data"][case], given["expected_converged"][case]
    found = studied({str(number): [value] for number, value in enumerate(values)}).assigned
    assert found.value_N == pytest.approx(expected["x_star"], rel=1e-9)
    assert found.robust_sd_N == pytest.approx(expected["s_star"], rel=1e-9)
    u = 1.25 * expected["s_star"] / len(values) ** 0.5
    assert found.standard_uncertainty_N == pytest.approx(u, rel=1e-9)
    assert found.caution == ""


def test_readings_all_alike_are_scored_by_what_was_declared_and_by_nothing_else():
    cells = {name: [80.0, 81.0] for name in "abcde"} | {"f": [88.0, 89.0]}
    declared = studied(cells, sigma_relative=0.05)
    assert declared.assigned.value_N == pytest.approx(80.5, abs=0.1)
    assert declared.assigned.robust_sd_N == 0
    by_participant = {score.participant: score for score in declared.scores}
    assert by_participant[1].outcome == "acceptable"
    assert by_participant[6].z == pytest.approx(8 / (0.05 * 80.5), rel=0.02)
    alone = studied(cells)
    assert alone.assigned is None
    assert "all values but a few are the same" in alone.why_not_assigned


def test_few_lengths_of_a_spool_are_judged_by_the_factors_of_iso_13528():
    """ISO 13528:2015, table B.1, items 20, 15, 10 and 7; from memory."""
    printed = {20: (1.59, 0.57), 15: (1.69, 0.71), 10: (1.88, 1.01), 7: (2.10, 1.43)}
    for items, factors in printed.items():
        assert expanding_factors(items, 2) == pytest.approx(factors, abs=0.0051)


def test_unequal_and_censored_cells_are_named_where_the_standard_has_none():
    cells = tuple(
        Cell(who, 1, 6, 6 - (who == 3), np.log(80 + who), 6.0, 80.0 + who, 4.0 + who / 10)
        for who in range(1, 8)
    )
    found = sample_precision(cells)
    assert found.by_likelihood == (3,)
    assert found.unequal
    assert flags(cells) == ()
