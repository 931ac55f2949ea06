"""Honest rounding: no check of digits or of equal readings takes it for anything else."""

from collections.abc import Callable

import numpy as np
import pytest

from results.statistics.screening.check import Level
from results.statistics.screening.digits import terminal_digits
from results.statistics.screening.repeats import agreeing_sets, copied_run, repeated_values
from results.statistics.screening.rounding import effective_step, heaping, rounded_readings

Reader = Callable[[np.random.Generator, np.ndarray], np.ndarray]


def to(step: int) -> Reader:
    return lambda rng, loads: step * np.rint(loads / step)  # noqa: ARG005


def mostly_to(step: int) -> Reader:
    def read(rng, loads):
        return np.where(rng.random(loads.size) < 0.7, step * np.rint(loads / step), np.rint(loads))

    return read


READERS = {
    "every step": to(1), "even steps": to(2), "fives": to(5), "tens": to(10),
    "mostly fives": mostly_to(5), "mostly tens": mostly_to(10), "mostly even": mostly_to(2),
}  # fmt: skip


def session(rng, read: Reader, pulls: int) -> list[np.ndarray]:
    return [
        read(rng, rng.normal(300 + 20 * number, rng.choice([4.0, 12.0, 25.0]), pulls)).astype(int)
        for number in range(5)
    ]


@pytest.mark.parametrize("read", READERS.values(), ids=READERS)
@pytest.mark.parametrize("pulls", [8, 40])
def test_rounding_trips_no_check_of_equal_readings_more_often_than_chance(read, pulls):
    """At p < 0.01, 60 sessions: more than 4 would come about once in 2000 runs of a true test."""
    rng = np.random.default_rng(pulls)
    low = dict.fromkeys(("repeated", "agreeing", "copied", "digits"), 0)
    for _ in range(60):
        sets = session(rng, read, pulls)
        others = [("another", one.tolist()) for one in sets[1:]]
        digits = terminal_digits("the session", np.concatenate(sets), 10.0)
        low["repeated"] += repeated_values("the session", sets).p < 0.01
        low["agreeing"] += agreeing_sets("the session", sets).p < 0.01
        low["copied"] += copied_run("copied", "set 1", sets[0].tolist(), others, 4).p < 0.01
        low["digits"] += digits is not None and digits.p < 0.01
    assert max(low.values()) <= 4, low


def test_shares_of_readings_are_found_again():
    rng = np.random.default_rng(7)
    found = heaping(mostly_to(10)(rng, rng.normal(5000, 300, 4000)))
    assert found.weights[3] == pytest.approx(0.7, abs=0.03)
    assert found.weights[0] == pytest.approx(0.3, abs=0.04)


@pytest.mark.parametrize(("scatter", "mean"), [(0.4, 14.3), (3.0, 200.0), (80.0, 4000.0)])
@pytest.mark.parametrize("step", [1, 5, 10])
def test_the_chance_to_agree_is_that_of_drawn_readings(scatter, mean, step):
    rng = np.random.default_rng(step)
    rounded_to = heaping(np.full(20, 0) if step == 1 else step * np.arange(1, 20))
    if step == 1:
        rounded_to = heaping(np.arange(1, 400))
    first, second = (to(step)(rng, rng.normal(mean, scatter, 100_000)) for _ in range(2))
    two, three = rounded_to.chances_to_agree(mean, scatter)
    assert two == pytest.approx((first == second).mean(), rel=0.12)
    assert three <= two


def test_the_chance_to_agree_on_a_fine_scale_goes_over_into_that_of_the_formula():
    fine = heaping(np.arange(1, 400))
    below, above = (fine.chances_to_agree(1e5, sd)[0] for sd in (999.0, 1001.0))
    assert below == pytest.approx(above, rel=0.01)


def test_who_rounds_to_whole_pounds_is_advised_to_say_so_and_marked_at_most():
    rng = np.random.default_rng(4)
    check = rounded_readings("the session", to(10)(rng, rng.normal(300, 20, 24)), 0.1, "lbf")
    assert (check.figure, check.level) == (10, Level.MARK)
    assert "You seem to round to 1 lbf" in check.sentence
    assert "give that as the resolution of the rig, which is 0.1 lbf now" in check.sentence


def test_readings_to_every_step_are_not_taken_for_rounded_ones():
    rng = np.random.default_rng(5)
    steps = [effective_step(np.rint(rng.normal(300, 20, 12))) for _ in range(500)]
    assert np.mean(np.array(steps) > 1) < 0.01


def test_favourite_last_digits_are_found_beside_any_rounding():
    rng = np.random.default_rng(6)
    invented = 10 * rng.integers(20, 40, 60) + rng.choice([3, 7, 7, 0, 5], 60)
    assert terminal_digits("the session", invented, 50.0).p < 0.001


def test_sets_of_hundreds_of_pulls_are_not_blamed_for_loads_that_are_not_quite_normal():
    """Some pulls end at the grip, lower, and the line's own strength cuts the highest short."""
    rng = np.random.default_rng(8)
    low = 0
    for _ in range(60):
        loads = np.minimum(rng.normal(300, 15, (3, 200)), rng.normal(315, 6, (3, 200)))
        at_grip = rng.random(loads.shape) < 0.05
        loads[at_grip] *= rng.uniform(0.7, 0.95, at_grip.sum())
        low += repeated_values("the session", list(np.rint(loads).astype(int))).p < 0.001
    assert low == 0
