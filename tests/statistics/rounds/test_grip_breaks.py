"""A grip that parts first leaves a lower bound: it counts as one, neither as a strength nor not."""

import numpy as np
import pytest

from results.statistics.rounds.cells import cells_of
from results.statistics.rounds.observations import Pulls

LOG_SD = 0.08


def drawn(rng, levels, pulls, grip_breaks):
    """Lognormal loads by participant; in a share of pulls the grip parts at 0.8 to 1.1 of level."""
    who = np.repeat(np.arange(len(levels)), pulls)
    own = np.asarray(levels)[who] * rng.lognormal(0.0, LOG_SD, who.size)
    grip = np.asarray(levels)[who] * rng.uniform(0.8, 1.1, who.size)
    breaks = (rng.random(who.size) < np.asarray(grip_breaks)[who]) & (grip < own)
    return Pulls(who, np.full(who.size, 1), np.where(breaks, grip, own), ~breaks)


def test_a_weak_grip_on_one_rig_does_not_make_its_pulls_look_weak():
    """Half the pulls of the last are cut short; as strengths, or left out, they would read low."""
    rng = np.random.default_rng(11)
    errors, taken_as_strength, left_out = [], [], []
    for _ in range(300):
        pulls = drawn(rng, [80.0] * 6, 8, [0.0] * 5 + [0.8])
        found = cells_of(pulls, 1)
        last = found.cells[-1]
        if last.participant != 5:
            continue
        of_last = pulls.where(pulls.participant == 5)
        errors.append(last.log_mean - np.log(80))
        taken_as_strength.append(np.log(of_last.load_N).mean() - np.log(80))
        left_out.append(np.log(of_last.load_N[of_last.failed]).mean() - np.log(80))
    assert np.mean(taken_as_strength) < -0.03
    assert np.mean(left_out) < -0.01
    assert np.mean(errors) == pytest.approx(0.0, abs=3 * np.std(errors) / len(errors) ** 0.5)


def test_the_scatter_of_a_sample_survives_grip_breaks_in_every_hand():
    rng = np.random.default_rng(12)
    found = [cells_of(drawn(rng, [70.0, 80.0, 90.0], 6, [0.4] * 3), 1).log_sd for _ in range(300)]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(LOG_SD, rel=0.05)


def test_a_cut_short_pull_is_worth_less_than_a_whole_one_and_more_than_none():
    load = np.array([80.0, 85.0, 76.0, 82.0, 79.0, 78.0])
    failed = np.array([True] * 6 + [True] * 4 + [False] * 2)
    pulls = Pulls(np.repeat([1, 2], 6), np.full(12, 1), np.tile(load, 2), failed)
    whole, cut = cells_of(pulls, 1).cells
    assert whole.worth == 6.0
    assert cut.exact < cut.worth < cut.pulls == 6
    assert cut.log_mean > whole.log_mean


def test_with_nothing_but_grip_breaks_there_is_no_level_and_it_is_named():
    load, failed = [80.0, 82.0, 79.0, 60.0, 61.0], [True, True, True, False, False]
    pulls = Pulls(
        np.array([1, 1, 1, 2, 2]), np.full(5, 1), np.array(load), np.array(failed, dtype=bool)
    )
    found = cells_of(pulls, 1)
    assert [cell.participant for cell in found.cells] == [1]
    assert found.without_level == (2,)
