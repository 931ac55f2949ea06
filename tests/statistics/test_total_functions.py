"""Every public function of the statistics takes hard finite input: a figure or a named error.

A function that has no entry here fails the first test.
"""

import dataclasses
import importlib
import inspect
import pkgutil
import warnings
from collections import Counter

import numpy as np
import pytest

import results.statistics
from deploy.benchmarks.pools.draws import KINDS, draw
from deploy.benchmarks.pools.trying import Tally, try_pool
from results.statistics.errors import StatisticsError
from tests.statistics.hard_arguments import MAY_BE_INFINITE, MAY_BE_MISSING
from tests.statistics.hard_calls import CALLS

VALIDATION = [
    "deploy.benchmarks.agreement.dense_errors",
    "deploy.benchmarks.agreement.two_level_pool",
]
"""Statistics that only the validation uses."""


def public_functions():
    walked = pkgutil.walk_packages(results.statistics.__path__, "results.statistics.")
    for module in [*(found.name for found in walked), *VALIDATION]:
        for name, value in vars(importlib.import_module(module)).items():
            function = inspect.unwrap(value) if callable(value) else None
            own = inspect.isfunction(function) and function.__module__ == module
            if own and not name.startswith("_"):
                short = module.removeprefix("results.statistics.")
                yield f"{short.removeprefix('deploy.benchmarks.agreement.')}.{name}"


def not_finite(found, name=""):
    """Names of the figures within `found` that are not numbers, and of those that are infinite."""
    if dataclasses.is_dataclass(found):
        missing = set(getattr(found, "not_estimable", ()))
        for field in dataclasses.fields(found):
            if missing and field.name in MAY_BE_MISSING:
                continue
            yield from not_finite(getattr(found, field.name), field.name)
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from not_finite(value, str(key))
    elif isinstance(found, (list, tuple)):
        for value in found:
            yield from not_finite(value, name)
    elif isinstance(found, (float, np.floating, np.ndarray)):
        values = np.asarray(found)
        if values.dtype.kind == "f":
            if np.isnan(values).any():
                yield f"{name} is not a number"
            elif np.isinf(values).any() and name not in MAY_BE_INFINITE:
                yield f"{name} is infinite"


@pytest.fixture(scope="module")
def league_like():
    """Pools as the league's are; the league itself is shaken in tests/demo."""
    ordinary = (draw(7, number, ()) for number in range(7, 12 * len(KINDS), len(KINDS)))
    return [drawn.members for drawn in ordinary]


def test_every_public_function_has_its_hard_inputs():
    assert set(public_functions()) == set(CALLS)


@pytest.mark.parametrize("name", sorted(CALLS))
def test_hard_finite_input_gives_a_figure_or_a_named_error(name):
    came_out = 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for call in CALLS[name]():
            try:
                found = call()
            except StatisticsError:
                continue
            came_out += 1
            assert list(not_finite(found, name.rpartition(".")[2])) == []
    assert came_out > 0, "no input came to a figure, so this shows nothing"


def test_a_thousand_pools_of_every_hard_kind_come_to_figures_or_say_why_not(league_like):
    tally = Tally()
    for number in range(1_000):
        drawn = draw(2026, number, league_like)
        try_pool(drawn, number, tally)
    assert tally.exceptions == Counter()
    assert tally.pools == 1_000
    assert tally.figures > 700
