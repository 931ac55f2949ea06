"""A rig's scatter from day to day, shrunk to that of all rigs; several compared with one."""

import numpy as np
import pytest
from scipy import stats

from rigs.metrology.day_to_day import (
    LEAST_RIGS,
    MOST_FREEDOM,
    Scatter,
    fit_prior,
    observed,
    shrunk,
    shrunk_before,
    successive_factors,
)
from rigs.metrology.equivalence import equivalence
from rigs.metrology.errors import (
    NoScatter,
    NotFinite,
    NotPositive,
    TooFewValues,
    UnequalLengths,
)
from rigs.metrology.many_to_one import many_to_one_quantile


def test_the_prior_of_rigs_that_follow_one_is_found_again():
    rng = np.random.default_rng(1)
    freedom = rng.choice([1.0, 3.0, 6.0, 13.0], 4000)
    true = 1.4 * 8 / rng.chisquare(8, 4000)
    found = fit_prior(true * rng.chisquare(freedom) / freedom, freedom)
    assert found.factor == pytest.approx(1.4, rel=0.05)
    assert found.degrees_of_freedom == pytest.approx(8, rel=0.15)


def test_rigs_that_differ_no_more_than_by_chance_share_one_scatter():
    rng = np.random.default_rng(2)
    found = fit_prior(2 * rng.chisquare(5, 500) / 5, np.full(500, 5.0))
    assert found.degrees_of_freedom > 50
    assert found.degrees_of_freedom <= MOST_FREEDOM
    assert found.factor == pytest.approx(2, rel=0.1)


def test_a_rig_is_judged_by_all_rigs_first_and_by_itself_in_the_end():
    prior = Scatter(1.0, 4.0)
    assert shrunk(None, prior) == prior
    known = shrunk_before([9.0] * 40, prior)
    assert known[0] == prior
    assert [each.factor for each in known] == sorted(each.factor for each in known)
    assert known[1] == Scatter((4 + 9) / 5, 5.0)
    assert known[-1].factor == pytest.approx(8.0, abs=0.1)


def test_differences_of_successive_sessions_are_worth_two_thirds_of_a_degree_each():
    rng = np.random.default_rng(3)
    q = np.array([observed(np.diff(rng.normal(size=12)) ** 2 / 2).factor for _ in range(8000)])
    assert q.mean() == pytest.approx(1, abs=0.02)
    assert 2 / q.var() == pytest.approx(observed(np.ones(11)).degrees_of_freedom, rel=0.06)


def test_a_step_of_the_rig_enters_its_scatter_once_only():
    steady, moved = [100.0] * 10, [100.0] * 5 + [95.0] * 5
    cvs, counts = [0.03] * 10, [5] * 10
    assert successive_factors(steady, cvs, counts) == pytest.approx(0)
    assert np.count_nonzero(successive_factors(moved, cvs, counts)) == 1


def test_scatter_that_cannot_be_computed_is_refused():
    enough = np.ones(LEAST_RIGS)
    with pytest.raises(TooFewValues):
        observed([])
    with pytest.raises(NotFinite):
        observed([1.0, np.inf])
    with pytest.raises(TooFewValues):
        fit_prior(enough[1:], enough[1:])
    with pytest.raises(UnequalLengths):
        fit_prior(enough, enough[1:])
    with pytest.raises(NotFinite):
        fit_prior(enough * np.nan, enough)
    with pytest.raises(NotPositive):
        fit_prior(enough, -enough)
    with pytest.raises(NoScatter):
        fit_prior(0 * enough, enough)


# Dunnett (1964, Biometrics 20:482), two-sided, joint 95 percent; from memory.
@pytest.mark.parametrize(
    ("compared", "freedom", "table"), [(2, 10, 2.57), (5, 10, 2.99), (2, 30, 2.32), (5, 30, 2.66)]
)
def test_many_compared_with_one_agree_with_the_published_table(compared, freedom, table):
    found = many_to_one_quantile(np.ones(compared), 1.0, freedom)
    assert found == pytest.approx(table, abs=0.006)


def test_many_compared_with_one_agree_with_scipys_dunnett():
    rng = np.random.default_rng(4)
    groups = rng.normal(size=(4, 6))
    found = stats.dunnett(*groups[1:], control=groups[0], random_state=rng)
    freedom = groups.size - len(groups)
    at = many_to_one_quantile(np.ones(3), 1.0, freedom, level=float(found.pvalue.min()))
    assert at == pytest.approx(np.abs(found.statistic).max(), abs=0.02)


def test_one_compared_with_one_is_students_t_and_nonsense_is_refused():
    assert many_to_one_quantile([2.0], 1.0, 7.0) == pytest.approx(stats.t.isf(0.025, 7))
    with pytest.raises(TooFewValues):
        many_to_one_quantile([], 1.0, 7.0)
    with pytest.raises(NotFinite):
        many_to_one_quantile([1.0], np.nan, 7.0)
    with pytest.raises(NotPositive):
        many_to_one_quantile([1.0, 0.0], 1.0, 7.0)


@pytest.mark.parametrize("law", ["normal", "t4"])
def test_rounds_of_two_days_cover_their_ratio_by_the_rigs_own_scatter(law):
    rng = np.random.default_rng(5)

    def day(sd):
        return sd * (rng.normal() if law == "normal" else rng.standard_t(4) / np.sqrt(2))

    def own_of(sd, sessions=6):
        past = [rng.normal(day(sd), 0.035, rng.integers(3, 9)) for _ in range(sessions)]
        cvs, counts = [p.std(ddof=1) for p in past], [*map(len, past)]
        return observed(successive_factors(np.exp([p.mean() for p in past]), cvs, counts))

    fleet = [own_of(sd) for sd in (0.005, 0.01, 0.015, 0.03) for _ in range(25)]
    prior = fit_prior([o.factor for o in fleet], [o.degrees_of_freedom for o in fleet])
    covered, blind = [], []
    for _ in range(800):
        rounds = [np.exp(rng.normal(day(0.015), 0.035, 6)) for _ in range(2)]
        found = equivalence(*rounds, scatter=shrunk(own_of(0.015), prior))
        covered.append(found.lower < 1 < found.upper)
        found = equivalence(*rounds)
        blind.append(found.lower < 1 < found.upper)
    assert np.mean(covered) == pytest.approx(0.90, abs=0.035)
    assert np.mean(blind) < 0.82, "what the pulls alone make of it"


def test_more_pulls_do_not_settle_what_differs_from_day_to_day():
    first = 100 * np.exp(np.linspace(-0.03, 0.03, 8))
    last = 0.972 * first
    assert equivalence(first, last).more_pulls is not None
    assert equivalence(first, last, scatter=Scatter(4.0, 10.0)).more_pulls is None
