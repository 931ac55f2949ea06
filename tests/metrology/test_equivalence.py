"""First and last baseline: the same, moved, or can't tell yet."""

import numpy as np
import pytest
from statsmodels.stats.weightstats import ttost_ind

from rigs.metrology.equivalence import equivalence
from rigs.metrology.errors import NoScatter, NotFinite, NotPositive, TooFewValues

FIRST = np.array([91.2, 92.8, 90.5, 93.1, 92.0, 91.4, 92.6, 91.9])


def with_more_alike(first, last, more):
    """The last round with further pulls of the same mean and of both rounds' pooled scatter."""
    logs = np.log(first), np.log(last)
    squares = sum(((x - x.mean()) ** 2).sum() for x in logs)
    pattern = np.linspace(-1, 1, more) / np.linspace(-1, 1, more).std()
    pooled = np.sqrt(squares / (first.size + last.size - 2))
    return np.append(last, np.exp(logs[1].mean() + pooled * pattern))


def test_the_two_one_sided_tests_agree_with_a_reference_implementation():
    last = FIRST[:6] * 1.02 + np.array([0.4, -0.9, 0.1, 1.2, -0.3, 0.6])
    edge = np.log(1.05)
    p, _, _ = ttost_ind(np.log(last), np.log(FIRST), -edge, edge, usevar="pooled")  # statsmodels
    assert equivalence(FIRST, last).p_same == pytest.approx(p, rel=1e-9)


def test_a_rig_that_reads_on_as_before_is_called_the_same():
    found = equivalence(FIRST, FIRST[::-1] * 1.005)
    assert found.verdict == "same"
    assert found.ratio == pytest.approx(1.005)
    assert found.lower < 1.005 < found.upper
    assert found.more_pulls == 0


def test_a_rig_that_reads_a_tenth_lower_has_moved():
    found = equivalence(FIRST, 0.9 * FIRST)
    assert found.verdict == "moved"
    assert found.p_same > 0.99


def test_few_scattered_pulls_say_how_many_more_would_decide():
    first, last = FIRST, np.array([84.0, 97.0, 91.0])
    found = equivalence(first, last)
    assert found.verdict == "can't tell yet"
    for more, verdict in ((found.more_pulls - 1, "can't tell yet"), (found.more_pulls, "same")):
        assert equivalence(first, with_more_alike(first, last, more)).verdict == verdict


def test_a_ratio_right_at_the_margin_cannot_be_decided_by_fifty_more():
    assert equivalence(FIRST, FIRST * 1.05).more_pulls is None


def test_moved_and_same_are_wrong_at_most_as_often_as_promised():
    rng = np.random.default_rng(5)
    verdicts = [
        equivalence(*(np.exp(rng.normal([[0], [np.log(1.05)]], 0.03, (2, 8))))).verdict
        for _ in range(2000)
    ]
    assert verdicts.count("same") / 2000 < 0.065
    assert verdicts.count("moved") / 2000 < 0.065


def test_rounds_that_cannot_be_compared_are_refused():
    with pytest.raises(TooFewValues, match="last round: found 1"):
        equivalence(FIRST, [90.0])
    with pytest.raises(NotFinite):
        equivalence(FIRST, [90.0, float("nan")])
    with pytest.raises(NotPositive):
        equivalence(FIRST, [90.0, 0.0])
    with pytest.raises(NoScatter):
        equivalence([90.0, 90.0], [91.0, 91.0])
