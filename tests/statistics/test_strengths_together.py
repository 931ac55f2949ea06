"""Strengths of many sets at once: what a set comes to doesn't hang on its company."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from results.statistics.censored import strength, strengths
from results.statistics.errors import StatisticsError

STEPS = (0.0, 0.1, 0.5, 5.0)
LOADS = st.one_of(
    st.integers(150, 260).map(lambda halves: halves / 2), st.floats(20.0, 400.0), st.just(100.0)
)
PULLS = st.lists(st.tuples(LOADS, st.booleans()), max_size=40)
SETS = st.lists(st.tuples(PULLS, st.sampled_from(STEPS)), max_size=12)


def together(sets):
    pulls = [pull for of_set, _ in sets for pull in of_set]
    return strengths(
        np.array([load for load, _ in pulls], dtype=float),
        np.array([at_least for _, at_least in pulls], dtype=bool),
        [len(of_set) for of_set, _ in sets],
        [step for _, step in sets],
    )


def alone(pulls, step):
    try:
        return strength([load for load, _ in pulls], [at_least for _, at_least in pulls], step)
    except StatisticsError as error:
        return error


def values_of(found):
    return (type(found), str(found)) if isinstance(found, StatisticsError) else found


@given(SETS)
@settings(max_examples=200, deadline=None)
def test_each_of_many_sets_comes_to_the_last_digit_of_what_it_is_alone(sets):
    assert [values_of(one) for one in together(sets)] == [values_of(alone(*one)) for one in sets]


@given(SETS, st.randoms())
@settings(max_examples=50, deadline=None)
def test_the_order_of_the_sets_makes_no_difference(sets, chance):
    order = list(range(len(sets)))
    chance.shuffle(order)
    shuffled = together([sets[place] for place in order])
    found = together(sets)
    assert [values_of(one) for one in shuffled] == [values_of(found[place]) for place in order]


def test_a_set_that_gives_no_strength_leaves_the_others_theirs():
    whole = [(100.0, False), (104.0, False), (98.0, False)]
    censored = [(100.0, False), (104.0, True), (98.0, False), (97.0, False)]
    broken = [(100.0, False), (-1.0, False), (98.0, False)]
    few = [(100.0, False), (104.0, True), (98.0, False)]
    first, second, *errors = together(
        [(whole, 0.5), (censored, 0.5), (broken, 0.5), (few, 0.5), ([], 0.5)]
    )
    assert first.method == "sample"
    assert second.method == "censored lognormal"
    assert [str(error) for error in errors] == [
        "load 1 is not above zero",
        "2 of 3 loads are exact and the rest 'at least': 3 exact loads are needed for an estimate",
        "0 pull: at least 2 are needed for a mean with its scatter",
    ]
