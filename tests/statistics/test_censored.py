"""Right-censored fits against published data, and the strength of a set under simulation."""

import numpy as np
import pytest

from results.statistics.censored import TooFewFailures, fit, strength
from results.statistics.censored_profile import CHI_SQUARE_95, profile_end, quantile_shift
from results.statistics.errors import (
    NoScatter,
    NotFinite,
    NotPositive,
    ShapeMismatch,
    TooFewPulls,
)

FAMILIES = [("weibull", "weibull"), ("normal", "gaussian"), ("lognormal", "lognormal")]


@pytest.mark.parametrize(("family", "name"), FAMILIES)
@pytest.mark.parametrize("data_set", ["right-censored-nist", "right-censored-fans"])
def test_fits_with_half_or_five_sixths_censored_agree_with_survival_in_r(
    reference, data_set, family, name
):
    given = reference(data_set)
    expected = given["expected"][name]
    fitted = fit(given["data"]["value"], given["data"]["failed"], family)
    assert fitted.location == pytest.approx(expected["intercept"], rel=1e-10)
    assert fitted.scale == pytest.approx(expected["scale"], rel=1e-10)
    assert fitted.loglik == pytest.approx(expected["loglik"], abs=1e-9)
    se_location, se_log_scale = np.sqrt(np.diag(fitted.covariance))
    assert se_location == pytest.approx(expected["se_intercept"], rel=1e-9)
    assert se_log_scale == pytest.approx(expected["se_log_scale"], rel=1e-9)


@pytest.mark.parametrize(("family", "name"), FAMILIES)
def test_profile_intervals_agree_with_those_from_r(reference, family, name):
    given = reference("right-censored-fans")
    expected = given["expected"][name]
    fitted = fit(given["data"]["value"], given["data"]["failed"], family)
    ends = [profile_end(fitted, 0.0, CHI_SQUARE_95, direction) for direction in (-1, 1)]
    assert ends == pytest.approx(expected["profile_95_intercept"], rel=1e-9)
    quantile = fitted.location + quantile_shift(family, 0.05) * fitted.scale
    in_hours = quantile if family == "normal" else np.exp(quantile)
    assert in_hours == pytest.approx(expected["quantile_0.05"], rel=1e-10)
    assert fitted.covariance[0, 1] == pytest.approx(expected["cov_intercept_log_scale"], rel=1e-9)


def test_chain_links_and_simulated_strengths_agree_with_the_published_fits(reference):
    given = reference("breaking-load-yarn-and-chain")
    links = given["chain_links"]
    expected = links["expected"]
    weibull = fit(links["value"], [True] * 20, "weibull")
    assert 1 / weibull.scale == pytest.approx(expected["weibull"]["shape"], rel=1e-10)
    assert np.exp(weibull.location) == pytest.approx(expected["weibull"]["scale"], rel=1e-10)
    assert weibull.loglik == pytest.approx(expected["weibull"]["loglik"], rel=1e-10)
    lognormal = fit(links["value"], [True] * 20, "lognormal")
    assert lognormal.scale == pytest.approx(expected["lognormal"]["sigma"], rel=1e-10)
    normal = fit(links["value"], [True] * 20, "normal")
    assert normal.scale == pytest.approx(expected["normal"]["sigma_ml"], rel=1e-10)
    rinne = given["simulated_weibull"]
    simulated = fit(rinne["value"], [True] * 20, "weibull")
    assert 1 / simulated.scale == pytest.approx(rinne["expected"]["weibull"]["shape"], rel=1e-10)


def test_weathered_cord_with_damaged_pieces_agrees_with_survival_in_r(reference):
    cord = reference("breaking-load-yarn-and-chain")["braided_cord_right_censored"]
    loads = cord["failed"] + cord["right_censored"]
    failed = [True] * len(cord["failed"]) + [False] * len(cord["right_censored"])
    for family in ("weibull", "lognormal", "normal"):
        fitted = fit(loads, failed, family)
        assert fitted.loglik == pytest.approx(cord["expected"][family]["loglik"], rel=1e-10)
    lognormal = fit(loads, failed, "lognormal")
    assert lognormal.location == pytest.approx(cord["expected"]["lognormal"]["mu"], rel=1e-10)


def test_a_set_without_censoring_is_its_sample_mean_and_scatter():
    found = strength([90.0, 95.0, 100.0, 105.0], [False] * 4)
    assert (found.mean_N, found.n_effective, found.censored) == (97.5, 4.0, False)
    assert found.sd_N == pytest.approx(np.sqrt(125 / 3), rel=1e-14)


def test_counting_or_dropping_grip_breaks_biases_a_strength_and_censoring_does_not():
    """Design: -2.7 percent counted, -2.2 dropped, +0.1 censored, 4000 sets of 10 simulated."""
    random = np.random.default_rng(1954)
    join_sd, grip_sd = np.sqrt(np.log1p([0.06**2, 0.08**2]))
    join = 100.0 * np.exp(random.normal(-(join_sd**2) / 2, join_sd, (2000, 10)))
    grip = 103.0 * np.exp(random.normal(-(grip_sd**2) / 2, grip_sd, (2000, 10)))
    load, at_grip = np.minimum(join, grip), grip < join
    usable = (~at_grip).sum(axis=1) >= 3
    counted = load.mean() - 100.0
    dropped = np.mean([row[~grip].mean() for row, grip in zip(load, at_grip, strict=True)]) - 100.0
    censored = np.mean(
        [
            strength(row, grip).mean_N
            for row, grip in zip(load[usable], at_grip[usable], strict=True)
        ]
    )
    assert counted == pytest.approx(-2.7, abs=0.15)
    assert dropped == pytest.approx(-2.2, abs=0.25)
    assert censored - 100.0 == pytest.approx(0.1, abs=0.25)


def test_the_claimed_variance_of_a_censored_mean_is_the_one_seen_over_many_sets():
    random = np.random.default_rng(7)
    join = np.exp(random.normal(4.6, 0.06, (800, 30)))
    grip = np.exp(random.normal(4.61, 0.06, (800, 30)))
    found = [strength(np.minimum(j, g), g < j) for j, g in zip(join, grip, strict=True)]
    claimed = np.mean([one.cv**2 / one.n_effective for one in found])
    seen = np.var(np.log([one.mean_N for one in found]), ddof=1)
    assert claimed / seen == pytest.approx(1.0, abs=0.15)
    assert np.mean([one.cv for one in found]) == pytest.approx(0.06, rel=0.04)


def test_scatter_never_falls_below_that_of_the_scales_steps():
    rounded = strength([95.0, 95.0, 95.0, 100.0], [False] * 4, resolution_N=20.0)
    assert rounded.sd_N == pytest.approx(20.0 / np.sqrt(12.0))
    equal = strength([95.0] * 4, [False] * 4, resolution_N=5.0)
    assert equal.cv == pytest.approx(5.0 / np.sqrt(12.0) / 95.0)


def test_equal_failures_with_a_grip_break_take_their_scatter_from_the_resolution():
    found = strength([95.0, 95.0, 95.0, 95.0], [False, False, False, True], resolution_N=5.0)
    assert found.cv == pytest.approx(5.0 / np.sqrt(12.0) / 95.0, rel=1e-3)
    assert 95.0 < found.mean_N < 96.5
    assert 3.0 < found.n_effective < 4.0


def test_what_cannot_be_estimated_is_refused_and_says_what_is_missing():
    with pytest.raises(TooFewPulls, match="1 pull: at least 2"):
        strength([95.0], [False])
    with pytest.raises(TooFewFailures, match="2 of 5 loads are exact and the rest 'at least': 3"):
        strength([90.0, 95.0, 96.0, 97.0, 98.0], [False, False, True, True, True])
    with pytest.raises(NoScatter, match="all 3 loads are 95 N and no resolution"):
        strength([95.0] * 3, [False] * 3)
    with pytest.raises(NoScatter, match="all failures are at one load"):
        strength([95.0, 95.0, 95.0, 90.0], [False, False, False, True])
    with pytest.raises(NotFinite, match="load 1 is not a finite number"):
        strength([95.0, float("nan"), 96.0], [False] * 3)
    with pytest.raises(NotPositive, match="load 0 is not above zero"):
        strength([0.0, 95.0], [False] * 2)
    with pytest.raises(ShapeMismatch):
        strength([90.0, 95.0], [False])


def test_equal_failures_below_a_load_that_held_still_have_a_likelihood_maximum():
    fitted = fit([95.0, 95.0, 95.0, 110.0], [True, True, True, False], "lognormal")
    assert fitted.scale > 0.01
    assert np.exp(fitted.location) > 95.0
