"""Meta-regression within a pool against metafor and clubSandwich; several questions at once."""

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from results.statistics.errors import Collinear, NotFinite, TooFewSets, TooManyCovariates
from results.statistics.meta_regression import fit_meta_regression
from results.statistics.multiplicity import holm
from tests.statistics.worlds import world


def test_a_moderator_agrees_with_metafor_and_clubsandwich(pooling_reference):
    given = pooling_reference("cluster-robust-variants")
    data, expected = given["data"], given["expected"]["three_level_moderator"]
    v, cluster = np.array(data["vi"]), data["cluster"]
    found = fit_meta_regression(
        data["yi"], v, 0 * v, cluster, cluster, cluster, {"year": data["year_minus_1990"]}
    )
    year = found.covariates[0]
    assert year.coefficient == pytest.approx(expected["coefficients"][1], rel=1e-6)
    assert year.se == pytest.approx(expected["CR2"]["se"][1], rel=1e-7)
    assert year.df == pytest.approx(expected["CR2"]["satterthwaite_df"][1], rel=1e-7)
    assert year.p == pytest.approx(expected["CR2"]["p"][1], rel=1e-6)
    assert [found.tau2_tester, found.tau2_set] == pytest.approx(expected["sigma2"], rel=1e-6)
    at_zero = found.mu - year.coefficient * found.centre["year"]
    assert at_zero == pytest.approx(expected["coefficients"][0], rel=1e-6)


def test_a_known_slope_is_found_and_a_moderator_that_does_nothing_is_not():
    y, *rest = world(30, seed=3)
    rng = np.random.default_rng(1)
    turns, glue = rng.integers(4, 9, y.size), rng.integers(0, 2, y.size)
    found = fit_meta_regression(y + 0.03 * turns, *rest, {"turns": turns, "glue": glue})
    by_name = {one.name: one for one in found.covariates}
    assert by_name["turns"].ci_low < 0.03 < by_name["turns"].ci_high
    assert by_name["turns"].p_adjusted < 0.001
    assert by_name["glue"].p_adjusted > 0.05


def test_the_unit_of_a_moderator_changes_its_coefficient_and_nothing_else():
    y, *rest = world(20, seed=5)
    ratio = np.random.default_rng(2).uniform(1, 3, y.size)
    plain, scaled = (
        fit_meta_regression(y, *rest, {"ratio": values}).covariates[0]
        for values in (ratio, 1000 * ratio)
    )
    assert scaled.coefficient == pytest.approx(plain.coefficient / 1000, rel=1e-7)
    assert scaled.p == pytest.approx(plain.p, rel=1e-7)


def test_holm_agrees_with_statsmodels():
    p = np.array([0.011, 0.2, 0.004, 0.04, 0.9])
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1])


def test_one_moderator_for_ten_sets_and_no_more():
    columns = world(4, seed=1)
    many = {f"m{n}": np.arange(columns[0].size) ** n for n in range(1, 6)}
    with pytest.raises(TooManyCovariates, match="5 covariates"):
        fit_meta_regression(*columns, many)
    few = (np.linspace(-0.4, -0.2, 9), np.full(9, 0.001), np.full(9, 0.0001), *[range(9)] * 3)
    with pytest.raises(TooFewSets, match="10 sets"):
        fit_meta_regression(*few, {"turns": range(9)})


@pytest.mark.parametrize(
    ("values", "error"),
    [
        (lambda k: {"wet": np.ones(k)}, Collinear),
        (lambda k: {"a": np.arange(k), "b": 2 * np.arange(k) + 1}, Collinear),
        (lambda k: {"rate": np.where(np.arange(k) == 3, np.nan, 1)}, NotFinite),
    ],
)
def test_a_moderator_that_can_have_no_coefficient_is_refused(values, error):
    columns = world(12, seed=1)
    with pytest.raises(error):
        fit_meta_regression(*columns, values(columns[0].size))
