"""What a club reads after its round: who differs, by rig or by hand, and what can't be said."""

import numpy as np
import pytest

from results.statistics.errors import NotPositive, ShapeMismatch
from results.statistics.rounds.observations import Observations, Sample, SpoolPulls
from results.statistics.rounds.round_report import report

OWN = (3, 4)
SAMPLES = tuple(
    Sample(*row)
    for row in ((1, True), (2, True), (3, False), (4, False), (5, True, 1), (6, False, 3))
)
STRENGTH_N = {1: 80.0, 2: 65.0, 3: 78.0, 4: 66.0, 5: 80.0, 6: 78.0}
STEADY = np.exp(0.05 * np.array([-1.0, 0.0, 1.0]))


def a_round(rigs, hands, pulls=STEADY, samples=SAMPLES, **more):
    """Everybody pulls every sample; single pulls scatter alike and sets by a thousandth."""
    rng = np.random.default_rng(20)
    rows = [
        (person, sample.id, load, False)
        for person, (rig, hand) in enumerate(zip(rigs, hands, strict=True), start=1)
        for sample in samples
        for load in STRENGTH_N[sample.id]
        * rig
        * (1.0 if sample.tied_centrally else hand)
        * np.exp(rng.normal(0, 0.001))
        * pulls
    ]
    participant, sample, load, at_least = zip(*rows, strict=True)
    who = tuple(range(1, len(rigs) + 1))
    return Observations(samples, who, participant, sample, load, at_least, **more)


def amended(observed, **columns):
    return Observations(**{**vars(observed), **columns})


def test_a_rig_that_reads_low_and_a_hand_that_ties_well_are_told_apart():
    rigs = [0.96, 1.0, 1.01, 0.99, 1.0, 1.02, 0.98, 1.0]
    hands = [1.0, 1.0, 1.15, 0.99, 1.0, 1.01, 1.0, 0.99]
    found = report(a_round(rigs, hands))
    assert found.of(1).rig.percent == pytest.approx(-4, abs=0.7)
    assert found.of(1).rig.clear
    assert not found.of(1).hand.clear
    assert found.of(3).hand.percent == pytest.approx(15, abs=0.7)
    assert found.of(3).hand.clear
    assert not found.of(3).rig.clear


def test_one_rig_far_off_moves_nobody_elses_figure():
    hands = [1.0] * 8
    straight = report(a_round([1.0] * 8, hands))
    one_off = report(a_round([1.6] + [1.0] * 7, hands))
    for person in range(2, 9):
        before, after = straight.of(person).rig, one_off.of(person).rig
        assert after.percent == pytest.approx(before.percent, abs=0.2)
        assert not after.clear
    assert one_off.of(1).rig.percent == pytest.approx(60, abs=0.5)


def test_of_five_participants_neither_h_nor_k_is_said_and_the_reason_is():
    found = report(a_round([1.0, 1.02, 0.98, 1.01, 0.99], [1.0] * 5))
    for sample in found.samples:
        assert sample.precision is None
        assert "need 6 participants" in sample.why_no_precision
        assert "fewer than 10" in sample.assigned.caution
    assert found.of(1).rig is not None


def test_of_two_participants_nobody_can_say_whose_rig_it_is():
    found = report(a_round([1.0, 1.1], [1.0, 1.0]))
    assert found.of(1).rig is None
    assert "can't show whose" in found.of(1).why_no_rig
    assert all(sample.assigned is None for sample in found.samples)


def test_a_round_without_central_samples_says_so_of_rigs_and_hands():
    found = report(a_round([1.0] * 6, [1.0] * 6, samples=SAMPLES[2:4]))
    assert found.of(2).rig is None
    assert (
        "tied centrally" in found.of(2).why_no_hand or "centrally tied" in found.of(2).why_no_hand
    )


def test_who_sent_nothing_or_a_part_is_named_and_the_others_are_reported():
    whole = a_round([0.96, 1.0, 1.01, 0.99, 1.0, 1.02, 0.98, 1.0], [1.0] * 8)
    keep = [
        person != 8 and not (person == 7 and sample in (*OWN, 6))
        for person, sample in zip(whole.participant, whole.sample, strict=True)
    ]
    columns = {
        name: np.asarray(getattr(whole, name))[keep]
        for name in ("participant", "sample", "load_N", "at_least")
    }
    found = report(amended(whole, **columns))
    assert (found.entered, found.sent) == (8, 7)
    assert found.of(8).samples_missing == (1, 2, 3, 4, 5, 6)
    assert found.of(8).rig is None
    assert found.of(7).rig is not None
    assert found.of(7).hand is None
    assert "missing" in found.of(7).why_no_hand
    assert found.samples[2].missing == (7, 8)
    assert found.of(1).rig.percent == pytest.approx(-4, abs=0.7)


def test_a_spool_is_called_alike_from_ten_lengths_and_unlike_as_soon_as_it_shows():
    even, ten = (91.0, 92.0), 10
    uneven = tuple((load, load + 1.0) for load in (80.0, 100.0, 90.0, 110.0))
    spools = (
        SpoolPulls(1, (even,) * ten, (91.6,)),
        SpoolPulls(2, (even,) * 4),
        SpoolPulls(3, uneven),
    )
    found = report(a_round([1.0] * 6, [1.0] * 6, spools=spools, sigma_relative=0.05)).spools
    assert (found[0].alike, found[0].stable) == (True, True)
    assert found[1].alike is None
    assert "10 are needed" in found[1].why_not_alike
    assert found[2].alike is False


def test_what_cannot_be_a_round_is_refused_by_name():
    good = a_round([1.0] * 3, [1.0] * 3)
    with pytest.raises(ShapeMismatch, match="participant 3, which isn't in the round"):
        report(amended(good, participants=(1, 2)))
    with pytest.raises(ShapeMismatch, match="sample 6 repeats 9"):
        report(amended(good, samples=(*SAMPLES[:5], Sample(6, False, 9))))
    with pytest.raises(NotPositive):
        report(amended(good, sigma_relative=-0.1))


def test_a_round_of_nothing_says_why_for_everything():
    found = report(Observations(SAMPLES, (1, 2, 3), (), (), (), ()))
    assert (found.sent, found.pulls) == (0, 0)
    assert all(sample.precision is None and sample.assigned is None for sample in found.samples)
    assert found.of(1).why_no_rig
