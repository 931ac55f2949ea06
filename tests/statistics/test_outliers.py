"""Grubbs, Cochran and Rosner against printed tables and worked examples."""

import numpy as np
import pytest

from results.statistics.errors import NoScatter, TooFewPulls, TooFewTesters
from results.statistics.outliers import (
    NotTabulated,
    cochran,
    cochran_critical,
    cochran_unequal,
    double_grubbs,
    generalised_esd,
    grubbs,
    grubbs_critical,
    grubbs_probability,
)


def cell_figures(cells):
    kept = [values for values in cells.values() if len(values) > 1]
    sds = [np.std(values, ddof=1) for values in kept]
    return [np.mean(values) for values in kept], sds, [len(values) for values in kept]


def test_the_spectrometer_reading_of_245_stands_apart(reference):
    given = reference("outlier-and-consistency")["grubbs"]
    found = grubbs(given["values"])
    assert found.index == 7
    assert found.statistic == pytest.approx(given["G"], abs=1e-4)  # printed cut off, not rounded
    assert grubbs_critical(8, 0.05) == pytest.approx(
        given["critical_5_percent_two_sided"], abs=5e-5
    )
    one_sided = given["critical_5_percent_one_sided"]
    assert grubbs_critical(8, 0.10) == pytest.approx(one_sided, abs=5e-5)
    assert found.probability < 0.01


@pytest.mark.parametrize(("percent", "alpha"), [("5", 0.05), ("1", 0.01)])
def test_critical_distances_are_those_of_the_printed_tables(reference, percent, alpha):
    table = reference("critical-values")[f"grubbs_single_{percent}_percent_two_sided"]["n"]
    for n, printed in table.items():
        assert grubbs_critical(int(n), alpha) == pytest.approx(printed, abs=6e-4)
        assert grubbs_probability(grubbs_critical(int(n), alpha), int(n)) == pytest.approx(alpha)


def test_cochrans_critical_shares_are_those_of_the_printed_tables(reference):
    given = reference("critical-values")
    for percent, alpha, results in (("5", 0.05, range(2, 6)), ("1", 0.01, range(2, 7))):
        for cells, printed in given[f"cochran_{percent}_percent"]["p"].items():
            found = [cochran_critical(int(cells), n, alpha) for n in results]
            assert found == pytest.approx(printed, abs=6e-4)
    for row in reference("outlier-and-consistency")["cochran_critical"]:
        found = cochran_critical(row["laboratories"], row["replicates"], 0.05)
        assert found == pytest.approx(row["5_percent"], abs=6e-4)


def test_double_grubbs_critical_values_are_those_of_iso_5725(reference):
    for n, (five, one) in reference("critical-values")["grubbs_double"]["p"].items():
        values = np.arange(float(n))
        low, _ = double_grubbs(values)
        assert low.critical_5_percent == pytest.approx(five, abs=5e-4)
        assert low.critical_1_percent == pytest.approx(one, abs=5e-4)


@pytest.mark.parametrize("level", ["level_1", "level_2", "level_3", "level_4"])
def test_outlier_statistics_of_the_coal_study_agree(reference, level):
    given = reference("interlaboratory-coal-sulfur-unequal-n")
    averages, sds, _ = cell_figures(given["data"][level])
    expected = given["expected_computed"][level]
    assert cochran(sds).statistic == pytest.approx(expected["cochran_C"], rel=1e-9)
    largest = max(expected["grubbs_high"], expected["grubbs_low"])
    assert grubbs(averages).statistic == pytest.approx(largest, rel=1e-9)
    low, high = double_grubbs(averages)
    assert low.statistic == pytest.approx(expected["double_grubbs_two_smallest"], rel=1e-8)
    assert high.statistic == pytest.approx(expected["double_grubbs_two_largest"], rel=1e-8)


def test_the_stragglers_of_the_coal_study_are_found_and_nothing_else(reference):
    """Outcome as in ISO 5725-2 B.1: laboratory 5 scatters at level 3, two highest at level 2."""
    data = reference("interlaboratory-coal-sulfur-unequal-n")["data"]
    for level, cells in data.items():
        averages, sds, _ = cell_figures(cells)
        assert grubbs(averages).probability > 0.05
        straggles = cochran(sds).statistic > cochran_critical(8, 3, 0.05)
        assert straggles == (level == "level_3")
        low, high = double_grubbs(averages)
        assert low.statistic > low.critical_5_percent
        assert (high.statistic < high.critical_5_percent) == (level == "level_2")
        assert high.statistic > high.critical_1_percent


def test_pitch_with_missing_cells_agrees_with_the_printed_tests(reference):
    given = reference("interlaboratory-pitch-missing-cells")
    for level, expected in given["expected_computed"].items():
        averages, sds, sizes = cell_figures(given["data"][level])
        assert cochran(sds).statistic == pytest.approx(expected["cochran_C"], rel=1e-9)
        printed = given["expected_printed"]["grubbs_single_low_high"][level]
        assert grubbs(averages).statistic == pytest.approx(max(printed), abs=0.0051)
        critical = expected["cochran_C_critical_5_percent"]
        assert cochran_critical(len(sizes), 2, 0.05) == pytest.approx(critical, rel=1e-10)
        wanted = expected["grubbs_critical_5_percent"]
        assert grubbs_critical(len(averages), 0.05) == pytest.approx(wanted, rel=1e-10)


def test_with_equal_cells_the_unequal_test_is_cochrans_own():
    sds = [1.0, 1.2, 2.9, 0.8]
    found = cochran_unequal(sds, [3] * 4)
    assert (found.index, found.statistic) == (2, pytest.approx(cochran(sds).statistic))
    at_critical = [np.sqrt(3 * c / (1 - c)) for c in [cochran_critical(4, 3, 0.05)]]
    assert cochran_unequal([1, 1, 1, *at_critical], [3] * 4).probability == pytest.approx(0.05)


def test_cells_of_unequal_size_are_called_out_as_often_as_promised():
    random = np.random.default_rng(5)
    sizes = np.array([2, 4, 4, 9])
    called = 0
    for _ in range(3000):
        sds = [random.normal(size=n).std(ddof=1) for n in sizes]
        called += cochran_unequal(sds, sizes).probability < 0.05
    assert called / 3000 == pytest.approx(0.05, abs=0.012)


def test_rosners_example_shows_three_outliers_where_single_tests_mask_them(reference):
    given = reference("generalised-esd")["generalized_esd"]
    found = generalised_esd(given["y"], most=10)
    assert found.outliers == given["outliers"]
    assert found.statistics == pytest.approx(given["R"], abs=6e-5)
    assert found.critical == pytest.approx(given["lambda"], abs=6e-5)
    assert grubbs(given["y"]).probability > 0.05


def test_what_the_tests_need_is_named():
    with pytest.raises(TooFewPulls, match="2 values: this test needs at least 3"):
        grubbs([1.0, 2.0])
    with pytest.raises(NoScatter, match="none can stand apart"):
        grubbs([1.0] * 5)
    with pytest.raises(NotTabulated, match="from 4 to 40"):
        double_grubbs(np.arange(41.0))
    with pytest.raises(TooFewTesters):
        cochran([1.0])
    with pytest.raises(NoScatter):
        cochran([0.0, 0.0])
    with pytest.raises(TooFewPulls, match="two results or more in every cell"):
        cochran_unequal([1.0, 2.0], [2, 1])
