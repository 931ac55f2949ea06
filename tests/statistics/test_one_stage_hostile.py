"""Pulls that nobody would send by honest work: both estimands, or a named error, and an end."""

import numpy as np
import pytest

from deploy.benchmarks.pools.pulls import draw_pulls, try_pulls
from deploy.benchmarks.pools.trying import Tally
from results.statistics.errors import StatisticsError
from results.statistics.one_stage.one_stage import Loads, one_stage

DRAWS = 300


def drawn(number: int):
    """Scatter from rounding noise to twice the load, and joins that hardly or never part."""
    rng = np.random.default_rng((7, number))
    scatter = [10 ** rng.uniform(-16, 0.3) if rng.random() < 0.5 else 0.05 for _ in range(2)]
    level, share = 10 ** rng.uniform(0, 4), float(rng.choice([1e-3, 0.5, 0.8, 1.0, 1.3, 20]))
    outlasts = rng.choice([0, 0.1, 0.5, 0.9, 1.0, 1.0])
    tester, session, baseline = [], [], []
    straight, joined, parted = [], [], []
    for who in range(int(rng.choice([3, 4, 5, 8]))):
        for _ in range(int(rng.integers(1, 4))):
            day = len(straight)
            loads = level * np.exp(rng.normal(0, scatter[0], int(rng.integers(1, 8))))
            straight.append(np.full(loads.size, loads[0]) if rng.random() < 0.1 else loads)
            for _ in range(int(rng.integers(1, 3))):
                tester.append(who)
                session.append(day)
                baseline.append(day)
                noise = rng.normal(rng.normal(0, 0.05), scatter[1], int(rng.integers(1, 9)))
                joined.append(level * share * np.exp(noise))
                parted.append(rng.random(noise.size) >= outlasts)
    return (
        tester,
        session,
        baseline,
        _grouped(straight, [np.ones(each.size, bool) for each in straight]),
        _grouped(joined, [np.ones(each.size, bool) for each in joined]),
        _grouped(joined, parted),
    )


def _grouped(loads, exact):
    group = np.repeat(np.arange(len(loads)), [each.size for each in loads])
    load_N = np.clip(np.concatenate(loads), 0.01, 20_000)
    return Loads(load_N, np.concatenate(exact), group)


@pytest.mark.parametrize("first", range(0, DRAWS, 50))
def test_hostile_pulls_come_to_figures_or_named_errors(first):
    came_to = 0
    for number in range(first, first + 50):
        try:
            found = one_stage(*drawn(number))
        except StatisticsError:
            continue
        estimates = [each for each in (found.combination, found.join) if each is not None]
        figures = [
            figure
            for each in estimates
            for figure in (each.log_efficiency, each.standard_error, each.low, each.high)
        ]
        assert np.isfinite([*figures, found.join_outlasts or 0.0]).all(), number
        came_to += bool(estimates)
    assert came_to > 10


def test_the_benchmark_draws_pulls_that_come_to_figures_or_named_errors():
    tally = Tally()
    for number in range(60):
        try_pulls(14, number, tally)
    assert tally.exceptions == {}
    assert tally.pools == 60
    assert tally.figures > 10
    assert draw_pulls(14, 3) == draw_pulls(14, 3)
    assert len({outcome.partition(": ")[2] for outcome in tally.came_to}) >= 4


def test_a_join_that_outlasts_line_without_scatter_has_a_bound_in_few_steps():
    """Its likelihood is flat for millions of scatters below where everything outlasts."""
    codes = np.arange(6)
    line = np.tile(100 * (1 + np.array([0.0, 1e-8, -1e-8])), 6)
    straight = Loads(line, np.ones(18, bool), np.repeat(codes, 3))
    joined = Loads(np.full(18, 60.0), np.zeros(18, bool), np.repeat(codes, 3))
    whole = Loads(np.full(18, 60.0), np.ones(18, bool), np.repeat(codes, 3))

    found = one_stage(codes // 2, codes, codes, straight, whole, joined)

    assert found.join is None
    assert found.join_outlasts is None or found.join_outlasts <= np.log(0.6) + 1e-6
