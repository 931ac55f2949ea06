"""A weak join is rarely asked for its unit, and a set in another unit is."""

import itertools

import numpy as np
import pytest

from results.statistics.screening.straight_line import NEWTONS
from results.statistics.screening.weak_or_mixed import WEAK_BELOW, unit_slip

DRAWN = 1500
PULLS = 5


def asked(share, factor=1.0, scatter=0.08, *, more_decimals=False, seed=7):
    """How many of the sets drawn at these shares are asked for their unit."""
    rng = np.random.default_rng(seed)
    low, high = share
    count = 0
    for keeps in rng.uniform(low, high, DRAWN):
        line = np.median(20 * rng.normal(1, 0.04, PULLS))
        shares = 20 * keeps * rng.normal(1, scatter, PULLS).clip(0.2) * factor / line
        if np.median(shares) <= WEAK_BELOW:
            slip = unit_slip(shares, {"lbf"}, {"lbf"}, more_decimals=more_decimals)
            count += slip is not None
    return count / DRAWN


@pytest.mark.parametrize(
    ("share", "most"),
    [((0.3, 1.0), 0.1), ((0.35, 0.5), 0.15), ((0.4, 0.5), 0.03), ((0.5, 1.0), 0.0)],
)
def test_an_honest_join_is_seldom_asked_for_its_unit(share, most):
    assert asked(share) <= most


@pytest.mark.parametrize(
    ("share", "least"), [((0.5, 0.7), 0.97), ((0.7, 0.8), 0.8), ((0.5, 1.0), 0.6)]
)
def test_kilograms_among_pounds_are_mostly_asked_about(share, least):
    kilograms = NEWTONS["lbf"] / NEWTONS["kgf"]
    assert asked(share, kilograms, 0.06) >= least
    assert asked(share, kilograms, 0.06, more_decimals=True) >= max(least, 0.95)


@pytest.mark.parametrize(("entered", "meant"), itertools.permutations(["N", "lbf", "kgf"], 2))
def test_each_pair_of_units_is_named_of_the_set_or_of_its_line(entered, meant):
    shares = 0.7 * np.array([0.95, 1.0, 1.02, 1.04, 0.97])
    factor = NEWTONS[entered] / NEWTONS[meant]

    of_set = unit_slip(shares * min(factor, 1 / factor), {entered}, {entered})

    assert of_set is not None
    assert of_set.factor == pytest.approx(min(factor, 1 / factor), rel=0.02)


def test_of_sets_of_one_tie_only_the_very_factor_is_a_slip():
    shares = np.array([0.33, 0.34, 0.32])
    assert unit_slip(shares, {"lbf"}, {"lbf"}, others=[0.73]).meant == "kgf"
    assert unit_slip(shares, {"lbf"}, {"lbf"}, others=[0.35]) is None
    assert unit_slip(shares, {"lbf"}, {"lbf"}, others=[0.6]) is None


def test_readings_in_several_units_say_nothing():
    assert unit_slip([0.3, 0.31, 0.3], {"lbf", "kgf"}, {"lbf"}) is None
    assert unit_slip([], {"lbf"}, {"lbf"}) is None
