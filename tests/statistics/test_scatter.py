"""Whether it is the join, the tying or the rig: splitting one's own scatter."""

import numpy as np
import pytest

from results.statistics.errors import NotPositive, ShapeMismatch, TooFewSets
from results.statistics.scatter import (
    Scatter,
    combine,
    further_pulls,
    session_scatter,
    split_scatter,
)


def test_an_uneven_tyer_sees_that_it_is_the_tying_and_not_the_rig():
    split = split_scatter(
        own_join=Scatter(0.126, 40),
        own_baseline=Scatter(0.025, 30),
        pool_join=Scatter(0.074, 400),
        pool_baseline=Scatter(0.03, 300),
    )
    assert split.tie.separated
    assert split.tying.separated
    assert split.tying.variance == pytest.approx(0.126**2 - 0.025**2 - 0.074**2 + 0.03**2)
    assert split.rig_and_line.sd == pytest.approx(0.025)
    assert split.join.sd == pytest.approx(np.sqrt(0.074**2 - 0.03**2))
    assert split.further is None


def test_five_pulls_that_cannot_be_split_say_how_many_more_of_what_would_do():
    split = split_scatter(
        Scatter(0.06, 4), Scatter(0.04, 4), Scatter(0.07, 200), Scatter(0.03, 150)
    )
    assert not split.tie.separated
    more = split.further
    join, line = Scatter(0.06, 4 + more.of_join), Scatter(0.04, 4 + more.of_straight_line)
    assert combine((1, join), (-1, line)).low > 0
    join, line = Scatter(0.06, 2 + more.of_join), Scatter(0.04, 2 + more.of_straight_line)
    assert combine((1, join), (-1, line)).low <= 0


def test_five_pulls_of_a_join_beside_a_steady_rig_need_more_pulls_of_the_join_alone():
    further = further_pulls(Scatter(0.045, 4), Scatter(0.03, 60))
    assert further.of_straight_line == 0
    assert 3 < further.of_join < 40


def test_a_join_that_scatters_no_more_than_its_line_is_not_promised_a_split():
    assert further_pulls(Scatter(0.03, 8), Scatter(0.04, 8)) is None
    split = split_scatter(
        Scatter(0.03, 8), Scatter(0.04, 8), Scatter(0.07, 200), Scatter(0.03, 150)
    )
    assert split.tie.variance < 0
    assert split.tie.sd == 0.0


def test_the_interval_of_a_difference_of_variances_covers_19_times_in_20():
    random = np.random.default_rng(90)
    join = 0.08 * np.sqrt(random.chisquare(7, 4000) / 7)
    line = 0.04 * np.sqrt(random.chisquare(5, 4000) / 5)
    truth = 0.08**2 - 0.04**2
    hits = [
        found.low <= truth <= found.high
        for j, s in zip(join, line, strict=True)
        for found in [combine((1, Scatter(j, 7)), (-1, Scatter(s, 5)))]
    ]
    assert np.mean(hits) == pytest.approx(0.95, abs=0.015)


def test_session_scatter_is_what_sets_of_a_join_differ_by_beyond_their_pulls():
    random = np.random.default_rng(3)
    join = np.repeat(["Alberto", "Palomar"], 1000)
    true_level = np.repeat([-0.2, -0.3], 1000)
    seen = true_level + random.normal(0, 0.02, 2000) + random.normal(0, 0.03, 2000)
    found = session_scatter(seen, np.full(2000, 0.03**2), join)
    assert found.sd == pytest.approx(0.02, rel=0.1)
    assert found.separated


def test_one_session_cannot_show_how_sessions_differ():
    with pytest.raises(TooFewSets, match="pull one again on another day"):
        session_scatter([-0.2, -0.3], [0.001, 0.001], ["Alberto", "Palomar"])
    with pytest.raises(ShapeMismatch):
        session_scatter([-0.2, -0.3], [0.001], ["Alberto", "Alberto"])
    with pytest.raises(NotPositive, match="scatter 0 on 4"):
        Scatter(0.0, 4)
