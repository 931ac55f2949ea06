"""A slow shift, where ties part, and the pace are marked, and honest testers hardly ever are."""

import numpy as np
import pytest

from results.screening import over_time
from results.statistics.screening.check import Level
from results.statistics.screening.judging import judge
from results.statistics.screening.over_time import (
    ALLOWANCE,
    DECISION,
    parting_places,
    session_scores,
    slow_shift,
    time_to_break,
)
from rigs.metrology.charts import cusum_chart
from tests.stories.test_second_look import account, send

SD = 0.035


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(17)


def share_marked(rng, each: float, always: float, sessions: int = 8, worlds: int = 2000) -> float:
    """Share of testers whose last session is marked; their results shift by so much a session."""
    marked = 0
    for _ in range(worlds):
        y = always + each * np.arange(sessions) + rng.normal(0, SD, sessions)
        chart = cusum_chart(session_scores(y, [SD**2] * sessions), 0.0, ALLOWANCE, DECISION)
        check = slow_shift("x", float(chart.high[-1]), float(chart.low[-1]), sessions)
        assert check is not None
        marked += check.level == Level.MARK
    return marked / worlds


def test_a_shift_of_three_percent_a_session_is_marked_and_a_steady_difference_is_not(rng):
    assert share_marked(rng, 0.03, 0.0) > 0.9
    assert share_marked(rng, -0.03, 0.0) > 0.9
    for always in (0.0, 0.15, -0.25):
        assert share_marked(rng, 0.0, always) < 0.03


def test_the_line_that_never_parts_beside_peers_where_it_does_is_marked(rng):
    peers_pulls = [20, 15, 25, 18, 30]
    peers = [10, 8, 11, 10, 16]
    (odd,) = judge([parting_places("x", 0, 25, peers, peers_pulls)])
    assert odd.level == Level.MARK
    honest = [
        judge([parting_places("x", rng.binomial(8, 0.5), 8, peers, peers_pulls)])[0].level
        for _ in range(300)
    ]
    assert np.mean([level > Level.NONE for level in honest]) < 0.03
    assert parting_places("x", 3, 8, peers[:2], peers_pulls[:2]) is None


def test_pulls_that_broke_at_once_under_a_slow_load_are_marked():
    assert time_to_break("x", [0.2, 0.4, 0.3]).level == Level.MARK
    assert time_to_break("x", [4.0, 11.0, 0.5]).level == Level.NONE
    assert time_to_break("x", []) is None


def test_a_tester_who_falls_session_by_session_is_marked_and_still_counts(db, settings):
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    for number, mean_N in enumerate((78.0, 80.0, 82.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    falling = account("falling", joined=5)
    sets = [send(falling, mean_N, day=10 + day) for day, mean_N in enumerate((82, 75, 69, 63))]
    marks = [set(one.checks.filter(level="mark").values_list("name", flat=True)) for one in sets]
    assert "slow shift" not in marks[1]
    assert "slow shift" in marks[3]
    assert sets[3].state == "pooled"


def test_a_tester_is_followed_however_many_others_have_sent_since(db, settings, monkeypatch):
    monkeypatch.setattr(over_time, "MOST_SETS", 3)
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    falling = account("falling", joined=5)
    earlier = [send(falling, mean_N, day=10 + day) for day, mean_N in enumerate((82, 75, 69))]
    for number, mean_N in enumerate((78.0, 80.0, 82.0, 79.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    last = send(falling, 63, day=14)
    assert len(earlier) + 1 > over_time.MOST_SETS
    assert last.checks.filter(name="slow shift", level="mark").exists()
