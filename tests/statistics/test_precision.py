"""Repeatability, reproducibility, Mandel's h and k against published interlaboratory studies."""

import numpy as np
import pytest

from results.statistics.errors import NoScatter, NotFinite, TooFewTesters
from results.statistics.precision import h_critical, k_critical, precision

STUDIES = [
    ("interlaboratory-coal-sulfur-unequal-n", ["level_1", "level_2", "level_3", "level_4"]),
    ("interlaboratory-glucose-five-materials", ["A", "B", "C", "D", "E"]),
    ("interlaboratory-pitch-missing-cells", ["level_1", "level_2", "level_4"]),
]


def rows(cells):
    """Long form of a study's cells: values and the laboratory of each."""
    laboratory = [name for name, values in cells.items() for _ in values]
    return [value for values in cells.values() for value in values], laboratory


def agrees(found, expected):
    assert found.mean == pytest.approx(expected["mean"], rel=1e-11)
    assert found.sd_of_averages == pytest.approx(expected["sd_of_cell_averages"], rel=1e-9)
    assert found.repeatability_sd == pytest.approx(expected["repeatability_sd"], rel=1e-9)
    assert found.between_sd == pytest.approx(expected["between_laboratory_sd"], rel=1e-9)
    assert found.reproducibility_sd == pytest.approx(expected["reproducibility_sd"], rel=1e-9)
    assert found.h == pytest.approx(expected["h"], rel=1e-8)
    assert found.k == pytest.approx(expected["k"], rel=1e-8, abs=1e-12)
    assert found.results == expected["N"]
    assert len(found.testers) == expected["p"]


@pytest.mark.parametrize(
    ("study", "level"), [(study, level) for study, levels in STUDIES for level in levels]
)
def test_equal_and_unequal_cells_agree_with_the_published_studies(reference, study, level):
    given = reference(study)
    found = precision(*rows(given["data"][level]))
    agrees(found, given["expected_computed"][level])


def test_printed_figures_of_the_coal_study_follow_to_the_digits_printed(reference):
    given = reference("interlaboratory-coal-sulfur-unequal-n")
    found = [precision(*rows(cells)) for cells in given["data"].values()]
    printed = given["expected_printed"]
    assert [one.mean for one in found] == pytest.approx(printed["mean"], abs=5.1e-4)
    assert [one.repeatability_sd for one in found] == pytest.approx(printed["s_r"], abs=5.1e-4)
    assert [one.reproducibility_sd for one in found] == pytest.approx(printed["s_R"], abs=5.1e-4)
    expected = given["expected_computed"]["level_1"]["nbar"]
    assert found[0].results_per_tester == pytest.approx(expected, rel=1e-11)


def test_a_cell_amended_after_a_question_changes_the_study_as_published(reference):
    given = reference("interlaboratory-glucose-five-materials")
    cells = dict(given["data"]["C"])
    flagged = precision(*rows(cells))
    fourth = flagged.testers.index("laboratory_4")
    assert flagged.k[fourth] > k_critical(flagged.sizes, 0.005)[fourth]
    cells["laboratory_4"] = [138.5, 138.3, 135.69]
    agrees(precision(*rows(cells)), given["expected_computed"]["C_with_138.30"])


def test_a_laboratory_with_a_single_result_is_left_out_and_named(reference):
    given = reference("interlaboratory-pitch-missing-cells")
    found = precision(*rows(given["data"]["level_2"]))
    assert found.left_out == ("laboratory_5",)


def test_the_first_printing_of_the_glucose_study_agrees_as_well(reference):
    given = reference("interlaboratory-glucose")
    data = given["data"]
    for material, expected in given["expected"].items():
        kept = [index for index, name in enumerate(data["material"]) if name == material]
        found = precision(
            [data["value"][index] for index in kept], [data["laboratory"][index] for index in kept]
        )
        assert found.reproducibility_sd == pytest.approx(expected["reproducibility_sd"], rel=1e-11)
        assert dict(zip(found.testers, found.h, strict=True)) == pytest.approx(
            expected["h"], rel=1e-10
        )
        assert h_critical(8, 0.005) == pytest.approx(expected["h_critical_0.5_percent"], rel=1e-10)
        critical = expected["k_critical_0.5_percent"]
        assert k_critical(found.sizes, 0.005) == pytest.approx([critical] * 8, rel=1e-10)


def test_critical_h_and_k_are_those_of_iso_5725_and_astm_e691(reference):
    given = reference("critical-values")
    for testers, (h, *ks) in given["mandel_1_percent"]["p"].items():
        p = int(testers)
        assert h_critical(p, 0.01) == pytest.approx(h, abs=0.0051)
        found = [k_critical([n] * p, 0.01)[0] for n in range(2, 11)]
        assert found == pytest.approx(ks, abs=0.01)
    for testers, h in given["e691_0.5_percent"]["h"].items():
        assert h_critical(int(testers), 0.005) == pytest.approx(h, abs=0.0051)
    for testers, k in given["e691_0.5_percent"]["k_n3"].items():
        assert k_critical([3] * int(testers), 0.005)[0] == pytest.approx(k, abs=0.0051)


def test_with_unequal_cells_each_k_is_exceeded_as_often_as_promised():
    random = np.random.default_rng(33)
    sizes = np.array([3, 5, 8])
    tester = np.repeat(["a", "b", "c"], sizes)
    critical = k_critical(sizes, 0.05)
    beyond = np.mean(
        [precision(random.normal(size=16), tester).k > critical for _ in range(2500)], axis=0
    )
    assert beyond == pytest.approx([0.05] * 3, abs=0.013)


def test_what_a_study_lacks_is_named():
    with pytest.raises(TooFewTesters, match="1 testers have two results or more: 2 are needed"):
        precision([1.0, 2.0, 3.0], ["a", "a", "b"])
    with pytest.raises(NoScatter):
        precision([1.0, 1.0, 2.0, 2.0], ["a", "a", "b", "b"])
    with pytest.raises(NotFinite, match="value 2 is nan"):
        precision([1.0, 2.0, float("nan")], ["a", "a", "b"])
