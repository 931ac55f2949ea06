"""Thresholds of the checks: those of their sources, unless the settings name others.

``SAMESPOOL_SCREENING`` maps the name of a check to its thresholds by name, as in
``{"judge": {"hold_rate": 0.005}, "against_label": {"ask_outside": [0.4, 5]}}``. Names and
defaults are the arguments with a default of the functions in ``results.statistics.screening``,
where each default stands beside its source.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, ParamSpec, TypeVar

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import Error

from results.statistics.screening import (
    decided,
    digits,
    efficiencies,
    influence,
    judging,
    near_copies,
    order,
    over_time,
    pulls,
    repeats,
    rig,
    rounding,
    scatter,
    spacing,
    straight_line,
    units_of_sets,
    usual,
)

Given = ParamSpec("Given")
CheckOutcome = TypeVar("CheckOutcome")

MODULES = (
    decided, digits, efficiencies, influence, judging, near_copies, order, over_time, pulls,
    repeats, rig, rounding, scatter, spacing, straight_line, units_of_sets, usual,
)  # fmt: skip


def tuned(check: Callable[Given, CheckOutcome]) -> Callable[Given, CheckOutcome]:
    """The check at the thresholds that the settings name, its own where they name none."""
    named: dict[str, Any] = settings.SAMESPOOL_SCREENING.get(check.__name__, {})
    return partial(check, **named)


def known() -> dict[str, dict[str, Any]]:
    """Default thresholds by name, of each check that has any."""
    functions = {
        name: function
        for module in MODULES
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__
    }
    thresholds = {
        name: {
            parameter.name: parameter.default
            for parameter in inspect.signature(function).parameters.values()
            if isinstance(parameter.default, float | tuple)
        }
        for name, function in functions.items()
    }
    return {name: found for name, found in thresholds.items() if found}


def check_thresholds(
    app_configs: Sequence[AppConfig] | None,  # noqa: ARG001
    **_: Any,
) -> list[Error]:
    """Django's check at the start: every threshold named in the settings exists and fits."""
    defaults, faults = known(), []
    for check, thresholds in settings.SAMESPOOL_SCREENING.items():
        if check not in defaults:
            faults.append(f"'{check}' is no check; expected one of {', '.join(sorted(defaults))}")
            continue
        for name, value in thresholds.items():
            if name not in defaults[check]:
                expected = ", ".join(defaults[check])
                faults.append(f"'{check}' has no threshold '{name}'; expected {expected}")
            elif not _fits(value, defaults[check][name]):
                faults.append(
                    f"'{name}' of '{check}' is {value!r}; expected the like of "
                    f"{defaults[check][name]!r}"
                )
    return [Error(f"SAMESPOOL_SCREENING: {fault}.", id="results.E001") for fault in faults]


def _fits(value: Any, default: Any) -> bool:
    if isinstance(default, tuple):
        both = isinstance(value, list | tuple) and len(value) == len(default)
        return both and all(_fits(one, 0.0) for one in value)
    return isinstance(value, int | float) and not isinstance(value, bool)
