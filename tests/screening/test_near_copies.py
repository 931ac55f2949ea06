"""Near copies: scaled, shuffled, jittered; and never an honest set for its rounding."""

import math

import numpy as np
import pytest

from results.screening.first_come import versions_of
from results.screening.shapes import MOST_CANDIDATES, near_copies, sweep_shapes
from results.statistics.screening.check import Level
from results.statistics.screening.near_copies import (
    log_chance_alike,
    near_copy,
    near_session,
    shape_of,
    written_step,
)
from tests import making

CHANGES = {
    "x 1.05": lambda rng, x: np.rint(1.05 * x),  # noqa: ARG005
    "+-2 steps": lambda rng, x: x + rng.integers(-2, 3, x.size),
    "shuffled": lambda rng, x: rng.permutation(x),
    "reversed": lambda rng, x: x[::-1],  # noqa: ARG005
    "in another unit": lambda rng, x: np.rint(0.45359237 * x),  # noqa: ARG005
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_changed_copy_of_ten_pulls_leaves_chance_no_room_among_a_thousand(change):
    rng = np.random.default_rng(1)
    found = 0
    for _ in range(100):
        x = np.rint(rng.normal(500, 40, 10))
        y = change(rng, x)
        one, other = shape_of(y, 1.0), shape_of(x, 1.0)
        alike = all(
            abs(getattr(one, name) - getattr(other, name)) <= one.tolerance
            for name in ("lowest", "highest", "middle")
        )
        found += alike and log_chance_alike(y, x, 1.0, 1.0) + math.log(1000) < math.log(0.001)
    assert found >= 90


@pytest.mark.parametrize("kind", ["normal", "far off", "coarse", "whole pounds"])
@pytest.mark.parametrize("pulls", [5, 8, 12])
def test_honest_series_are_as_rarely_alike_as_the_chance_says(kind, pulls):
    """At 1 percent, 1000 pairs: more than 25 would come less than once in 10000 runs."""
    rng = np.random.default_rng(pulls)

    def draw():
        x = rng.normal(*{"coarse": (30, 1.5)}.get(kind, (500, 30)), pulls)
        if kind == "far off":
            x[rng.random(pulls) < 0.1] *= rng.uniform(0.6, 0.9)
        return 10 * np.rint(x / 10) if kind == "whole pounds" else np.rint(x)

    step = 10.0 if kind == "whole pounds" else 1.0
    low = sum(log_chance_alike(draw(), draw(), step, step) < math.log(0.01) for _ in range(1000))
    assert low <= 25


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


def test_the_nearest_of_many_like_shapes_are_looked_at(db, owner):
    """As many as fit, and the copied one after them all, in order of time."""
    revision = making.revision_of(owner, resolution_N=0.1)
    line = making.line("thin")
    rng = np.random.default_rng(9)
    x = np.round(rng.normal(100, 1, 8), 1).tolist()
    for number in range(MOST_CANDIDATES + 1):
        like = x[:]
        like[number % 8] += 0.1 * (1 + number // 8 % 2)
        making.straight(making.session(revision), line, like)
    making.straight(making.session(revision), line, x)
    while sweep_shapes():
        pass
    copied = making.session(revision)
    making.straight(copied, line, [1.05 * reading for reading in x])
    near = near_copies(copied, versions_of(copied))
    assert copied.pk - 1 in {one.other.session_id for one in near.found}
