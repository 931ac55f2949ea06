"""The league's spring round can be trusted as a known truth, and its report finds it."""

import numpy as np
import pytest

from deploy.demo.round import (
    RIG_LOG,
    SAMPLES,
    TIES,
    draw_session,
    hand_log,
    observations,
    participants,
)
from results.statistics.rounds.round_report import report

ROUNDS = 150


@pytest.fixture(scope="module")
def reports():
    rng = np.random.default_rng(20260328)
    return [report(observations(rng)) for _ in range(ROUNDS)]


def test_eight_testers_send_four_samples_and_two_of_them_twice_unseen():
    codes = {number: f"CODE{number}" for sample in SAMPLES for number in sample.numbers}
    assert len(SAMPLES) == 4
    assert len(codes) == 6
    assert len(participants()) == len(RIG_LOG) == 8
    session = draw_session(np.random.default_rng(1), participants()[0], codes)
    assert {one["sample"] for one in session["pull_sets"]} == set(codes.values())
    assert all(len(one["pulls"]) == TIES for one in session["pull_sets"])
    assert all("connection" not in one for one in session["pull_sets"])


def test_rigs_and_hands_come_back_on_average_as_they_were_drawn(reports):
    """Against the middle of the eight, since a round knows no truth beside its participants."""
    rigs = np.array([RIG_LOG[tester["handle"]] for tester in participants()])
    hands = np.array([hand_log(tester) for tester in participants()])
    for true, kind in ((rigs, "rig"), (hands, "hand")):
        found = np.mean(
            [[getattr(one, kind).log_ratio for one in each.participants] for each in reports],
            axis=0,
        )
        assert found - np.median(found) == pytest.approx(true - np.median(true), abs=0.012)


def test_the_rig_that_reads_low_and_the_weak_hand_are_found_in_most_rounds(reports):
    handles = [tester["handle"] for tester in participants()]
    low = handles.index("quernstone") + 1
    weak = handles.index("reedmace") + 1
    assert np.mean([each.of(low).rig.high_percent < 0 for each in reports]) > 0.8
    assert np.mean([each.of(weak).hand.high_percent < 0 for each in reports]) > 0.9


def test_every_figure_of_the_demo_round_is_there_and_honest_of_eight(reports):
    first = reports[0]
    assert all(sample.precision is not None for sample in first.samples)
    assert all("fewer than 10" in sample.assigned.caution for sample in first.samples)
    assert first.hands_and_rigs.repeats.pairs == 16
    assert first.lower_bounds > 0 or first.pulls == 8 * 6 * TIES
