"""Near copies: scaled, shuffled, jittered; and never an honest set for its rounding."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from results.screening import shapes
from results.screening.first_come import versions_of
from results.screening.near_checks import of_session
from results.statistics.screening.check import Level
from results.statistics.screening.near_copies import (
    log_chances_alike,
    near_copy,
    near_session,
    session_times_a_factor,
    shape_of,
    written_step,
)
from tests import making

CHANGES = {
    "x 1.05": lambda rng, x: np.rint(1.05 * x),  # noqa: ARG005
    "+-2 steps": lambda rng, x: x + rng.integers(-2, 3, x.size),
    "shuffled": lambda rng, x: rng.permutation(x),
    "shuffled, x 1.05": lambda rng, x: np.rint(1.05 * rng.permutation(x)),
    "shuffled, +-2 steps": lambda rng, x: rng.permutation(x) + rng.integers(-2, 3, x.size),
    "reversed": lambda rng, x: x[::-1],  # noqa: ARG005
    "in another unit": lambda rng, x: np.rint(0.45359237 * x),  # noqa: ARG005
    "on a scale with a zero error": lambda rng, x: np.rint(1.05 * x) + 9,  # noqa: ARG005
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_changed_copy_of_ten_pulls_leaves_chance_no_room_among_two_thousand(change):
    rng = np.random.default_rng(1)
    found = 0
    for _ in range(100):
        x = np.rint(rng.normal(500, 60, 10))
        y = change(rng, x)
        one, other = shape_of(y, 1.0), shape_of(x, 1.0)
        alike = all(
            abs(getattr(one, name) - getattr(other, name)) <= one.tolerance
            for name in ("lowest", "highest", "middle")
        )
        (chance,) = log_chances_alike(y, [x], 1.0)
        found += alike and chance + math.log(2000) < math.log(0.001)
    assert found >= 90


def mixed(rng, shape, first, second, share):
    """Normal readings, of which such a share is of the second (mean, sd)."""
    return np.where(
        rng.random(shape) < share, rng.normal(*second, shape), rng.normal(*first, shape)
    )


def by_turn(rng, shape, lower):
    """Normal readings, lower by what a tester's habit makes of the turn of each pull."""
    return rng.normal(500, 8, shape) - lower(np.arange(shape[-1]))


LAWS = {
    "normal": lambda rng, shape: rng.normal(500, 30, shape),
    "coarse": lambda rng, shape: rng.normal(30, 1.5, shape),
    "heavy tails": lambda rng, shape: 500 + 30 * rng.standard_t(4, shape),
    "Weibull": lambda rng, shape: 500 * rng.weibull(8, shape),
    "lognormal": lambda rng, shape: rng.lognormal(6, 0.2, shape),
    "far off": lambda rng, shape: mixed(rng, shape, (500, 30), (370, 40), 0.1),
    "two ways to part": lambda rng, shape: mixed(rng, shape, (500, 20), (620, 6), 0.4),
    "steady but for a few": lambda rng, shape: mixed(rng, shape, (500, 5), (500, 60), 0.25),
    "entered in ascending order": lambda rng, shape: np.sort(rng.normal(500, 30, shape)),
    "falling from pull to pull": lambda rng, shape: by_turn(rng, shape, lambda turn: 4 * turn),
    "the first pull always low": lambda rng, shape: by_turn(
        rng, shape, lambda turn: 60 * (turn == 0)
    ),
    "the last pull always low": lambda rng, shape: by_turn(
        rng, shape, lambda turn: 60 * (turn == turn[-1])
    ),
    "the first pull low, then falling": lambda rng, shape: by_turn(
        rng, shape, lambda turn: 50 * (turn == 0) + 4 * turn
    ),
    "a rig that beds in": lambda rng, shape: by_turn(
        rng, shape, lambda turn: 60 * np.exp(-1.0 * turn)
    ),
    "two batches": lambda rng, shape: by_turn(
        rng, shape, lambda turn: 50 * (turn >= turn.size // 2)
    ),
    "whole pounds": lambda rng, shape: 10 * rng.normal(50, 3, shape),
}


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("pulls", [5, 8, 12])
def test_honest_series_are_more_rarely_alike_than_the_chance_says(law, pulls):
    """10,000 pairs of strangers, of which at most 100 may have a chance of 1 percent or less."""
    rng = np.random.default_rng(pulls)
    step = 10.0 if law == "whole pounds" else 1.0
    one, others = (step * np.rint(LAWS[law](rng, (n, pulls)) / step) for n in (20, 500))
    chances = np.concatenate([log_chances_alike(own, others, step) for own in one])
    assert (chances <= math.log(0.01)).sum() <= 100
    assert (chances <= math.log(0.001)).sum() <= 10


def test_the_chance_of_readings_in_a_ball_is_its_volume_times_the_greatest_density():
    """Of eight dimensions it is pi^4 r^8 / 24; of nine ways to be near the nearest counts."""
    x = np.array([400.0, 600.0, 401.0, 601.0, 399.0, 599.0, 402.0, 598.0])
    by = np.array([1.0, -1.0, -1.0, 1.0, 1.0, 1.0, -1.0, 1.0])
    law = mixture_likelihood(np.sort(x), [4, 4], least=8 / 10)
    (chance,) = log_chances_alike(x + by, [x], 1e-6)
    turn = np.arange(8)
    habit = np.stack([np.ones(8), turn, turn == 0, turn == 7], axis=1)
    _, left, _, _ = np.linalg.lstsq(habit, x, rcond=None)
    gain = math.log(0.9 + 0.1 * (x.var() * 8 / left[0]) ** 4)
    expected = math.log(9) + 4 * math.log(math.pi * 8) - math.log(24) + law + gain
    assert chance == pytest.approx(expected, abs=1e-6)


def mixture_likelihood(in_order, sizes, least):
    """Of readings in groups of these sizes, of which all have the same standard deviation."""
    groups = np.split(in_order, np.cumsum(sizes)[:-1])
    variance = max(sum(((one - one.mean()) ** 2).sum() for one in groups) / in_order.size, least)
    return sum(
        norm.logpdf(one, one.mean(), variance**0.5).sum()
        + one.size * math.log(one.size / in_order.size)
        for one in groups
    )


def test_the_step_that_readings_are_written_to_is_found_again():
    rng = np.random.default_rng(2)
    assert written_step(10 * rng.integers(20, 60, 60)) == pytest.approx(10, rel=0.2)
    assert written_step(rng.integers(200, 600, 60)) < 4


def test_the_sentence_states_the_chance_and_never_says_identical():
    check = near_copy("the set", [("set 4", -30.0, 100)], 8)
    assert check.level == Level.HOLD
    assert "chance alone would do that in" in check.sentence
    assert "identical" not in check.sentence
    assert near_copy("the set", [("set 4", -30.0, 100)], 7).level == Level.MARK


def test_small_sets_of_a_session_are_judged_together():
    check = near_session("the session", [-8.0, -9.0, -7.0], 5, 15, 1000, "session 3")
    assert check.level == Level.HOLD
    assert near_session("the session", [-8.0], 5, 5, 1000, "session 3") is None


LBF_N = 4.4482216152605
STRAIGHT_LBF = [20.5, 20.5, 19.5, 19.0, 19.0, 19.5]
TIED_LBF = [14.5, 15.0, 13.5, 14.5, 14.5, 13.0, 15.0, 14.5]
FACTORS = {"a percent more": 1.01, "in kilograms": 0.45359237, "as it stands": 1.0}


@pytest.mark.parametrize("factor", FACTORS.values(), ids=FACTORS)
def test_a_session_on_a_coarse_scale_is_known_again_times_any_factor(factor):
    """A spring balance of half pounds: each series alone leaves chance room."""
    pairs = [(np.round(factor * np.array(one), 2), one) for one in (STRAIGHT_LBF, TIED_LBF)]
    check = session_times_a_factor("the session", pairs, 50, "session 46")
    assert check.level == Level.HOLD
    assert f"14 readings of this session are those of session 46 times {factor:.3g}" in (
        check.sentence
    )
    assert all(chance > math.log(0.001) for (own, other) in pairs[:1]
               for chance in log_chances_alike(own, [other], 0.5))  # fmt: skip


@pytest.mark.parametrize("law", ["steady", "coarse", "tired", "sorted"])
def test_two_honest_sessions_of_one_hand_are_not_one_times_a_factor(law):
    rng = np.random.default_rng(5)
    turn = np.arange(8)
    draw = {
        "steady": lambda: np.rint(rng.normal(31, 0.3, 8)),
        "coarse": lambda: np.rint(rng.normal(30, 1.2, 8)),
        "tired": lambda: np.rint(rng.normal(33 - 0.8 * turn, 0.4)),
        "sorted": lambda: np.sort(np.rint(rng.normal(30, 1.2, 8))),
    }[law]
    held = 0
    for _ in range(3000):
        pairs = [(draw(), draw()), (draw(), draw())]
        check = session_times_a_factor("the session", pairs, 1, "session 46")
        held += check is not None and check.level == Level.HOLD
    assert held <= 3


def test_a_tester_sends_their_session_again_with_a_percent_on_every_reading(db, owner):
    revision = making.revision_of(owner, resolution_N=0.5 * LBF_N)
    line, other = making.line("thin"), making.line("thick")
    sent, of_like_shape_LBF = [], [19.0, 20.5, 19.5, 20.5, 19.0, 19.5]
    for factor in (1.0, 1.01):
        session = making.session(revision)
        making.straight(session, other, np.round(factor * np.array(of_like_shape_LBF), 2) * LBF_N)
        making.straight(session, line, np.round(factor * np.array(STRAIGHT_LBF), 2) * LBF_N)
        tied_N = np.round(factor * np.array(TIED_LBF), 2) * LBF_N
        making.joined(session, line, line, tied_N)
        sent.append(session)
    while shapes.sweep_shapes():
        pass
    first, again = (of_session(shapes.near_copies(one, versions_of(one), {})) for one in sent)
    assert first is None or first.level == Level.NONE
    assert again.level == Level.HOLD
    whole = f"20 readings of this session are those of session {sent[0].pk} times 1.01"
    assert whole in again.sentence


def test_the_nearest_of_many_like_shapes_are_looked_at(db, owner, monkeypatch):
    """As many as fit, and the copied one after them all, in order of time."""
    monkeypatch.setattr(shapes, "MOST_CANDIDATES", 30)
    revision = making.revision_of(owner, resolution_N=0.1)
    line = making.line("thin")
    rng = np.random.default_rng(9)
    x = np.round(rng.normal(100, 1, 8), 1).tolist()
    for number in range(shapes.MOST_CANDIDATES + 1):
        like = x[:]
        like[number % 8] += 0.1 * (1 + number // 8 % 2)
        making.straight(making.session(revision), line, like)
    making.straight(making.session(revision), line, x)
    while shapes.sweep_shapes():
        pass
    copied = making.session(revision)
    making.straight(copied, line, [1.05 * reading for reading in x])
    near = shapes.near_copies(copied, versions_of(copied), {})
    assert copied.pk - 1 in {one.other.session_id for one in near.found}
