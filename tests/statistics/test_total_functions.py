"""Every public function of the statistics takes hard finite input: a figure or a named error.

A function that has no entry here fails the first test.
"""

import importlib
import inspect
import pkgutil
import warnings
from collections import Counter
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chi2

import results.statistics
from deploy.benchmarks.pools.draws import KINDS, draw
from deploy.benchmarks.pools.trying import Tally, try_pool
from results.pools.estimate import pooled_from
from results.statistics.block_sums import SET
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
    if is_dataclass(found):
        missing = set(getattr(found, "not_estimable", ()))
        for field in fields(found):
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


def test_pools_of_every_hard_kind_come_to_figures_or_say_why_not(league_like):
    """Twenty of each kind; `deploy/bench pools` draws a hundred thousand."""
    tally = Tally()
    for number in range(20 * len(KINDS)):
        drawn = draw(2026, number, league_like)
        try_pool(drawn, number, tally)
    assert tally.exceptions == Counter()
    assert tally.pools == 20 * len(KINDS)
    assert tally.figures > 14 * len(KINDS)


def test_variances_far_apart_leave_an_interval_its_end_and_a_search_its_end():
    """At a set's variance of zero this pool's likelihood has no digit that a climb could follow."""
    members = draw(2026, 77, ()).members
    fit = pooled_from(members).fit
    asked = []
    low, _ = replace(fit, at=lambda theta: asked.append(theta) or fit.at(theta)).interval(SET)
    assert len(asked) < 1_000

    def fall(logs):
        theta = np.array([np.exp(logs[0]), 0.0, low, np.exp(logs[1])])
        return 2 * (fit.best.likelihood.value - fit.at(theta[None])[0].value)

    start = np.log(fit.best.theta[[0, 3]])
    least = minimize(fall, start, method="Nelder-Mead", options={"fatol": 1e-6}).fun
    assert least == pytest.approx(chi2.ppf(0.95, 1), abs=1e-4)
