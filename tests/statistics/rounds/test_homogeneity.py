"""An organiser learns whether one spool is the same for everybody."""

import itertools
import re

import numpy as np
import pytest
from scipy.stats import f_oneway

from results.statistics.errors import NotFinite, NotPositive, TooFewPulls
from results.statistics.rounds.homogeneity import expanding_factors, homogeneity, stability
from results.statistics.rounds.observations import SpoolPulls
from results.statistics.rounds.spools import spool_report


def test_the_worked_example_of_the_standard_is_homogeneous_and_stable(reference):
    worked = reference("spool-homogeneity-and-stability")  # ISO 13528:2022 E.2
    items, expected = worked["data"]["items_duplicates"], worked["expected_computed"]
    later = float(np.mean(worked["data"]["later_items_duplicates"]))
    found = homogeneity(items, sigma_pt=expected["sigma_pt"])
    for name in ("mean", "s_x", "s_w", "s_s"):
        assert getattr(found, name) == pytest.approx(expected[name], rel=1e-9)
    assert found.limit == pytest.approx(worked["expected_printed"]["limit_0.3_sigma_pt"], abs=5e-6)
    assert found.homogeneous
    at_end = stability(found.mean, later, expected["sigma_pt"])
    assert at_end.difference == pytest.approx(expected["difference"], rel=1e-9)
    assert at_end.stable


def test_a_spool_weaker_at_one_end_is_not_homogeneous():
    lengths = np.linspace(98, 90, 8)[:, None] + np.array([-0.5, 0.0, 0.5])
    found = homogeneity(lengths, sigma_pt=4.0)
    assert found.s_w == pytest.approx(0.5)
    assert not found.homogeneous
    assert not stability(98, 90, sigma_pt=4.0).stable


def test_single_lengths_say_nothing_of_homogeneity():
    with pytest.raises(TooFewPulls):
        homogeneity([[1.0], [2.0]], 1.0)
    with pytest.raises(TooFewPulls):
        homogeneity([1.0, 2.0], 1.0)
    with pytest.raises(NotFinite):
        homogeneity([[1.0, float("nan")], [1.0, 2.0]], 1.0)
    with pytest.raises(NotPositive):
        homogeneity([[1.0, 2.0], [1.0, 2.0]], 0.0)


def test_a_piece_that_lost_a_pull_to_the_grip_still_counts():
    items = [[98.0, 99.0], [97.5, 98.5, 98.0], [99.5], [98.0, 97.0]]
    found = homogeneity(items, sigma_pt=4.0)
    per_item = (8 - (4 + 9 + 1 + 4) / 8) / 3
    assert found.s_x**2 * per_item / found.s_w**2 == pytest.approx(f_oneway(*items).statistic)
    even = homogeneity([[98.0, 99.0], [97.0, 98.5], [99.5, 98.0]], sigma_pt=4.0)
    first, second = expanding_factors(3, 2)
    assert even.expanded_limit**2 == pytest.approx(first * even.limit**2 + second * even.s_w**2)


def test_whatever_was_pulled_of_a_spool_is_told_in_plain_sentences():
    """No shape of its pulls brings forth a program's words, or a verdict without figures."""
    for sizes in itertools.chain.from_iterable(
        itertools.product(range(1, 4), repeat=pieces) for pieces in range(4)
    ):
        for at_end, sigma in itertools.product(((), (99.0,)), (None, 0.05)):
            lengths = tuple(tuple(98.0 + n for n in range(size)) for size in sizes)
            said = spool_report(SpoolPulls(1, lengths, at_end), sigma)
            for verdict, why in (
                (said.alike, said.why_not_alike),
                (said.stable, said.why_not_stable),
            ):
                assert (verdict is None) == bool(why)
                assert re.fullmatch(r"|[A-Z0-9][^_\[\]=]+\.", why), why
                assert not re.search(r"\b(found|expected|shape|items?|None)\b", why), why
