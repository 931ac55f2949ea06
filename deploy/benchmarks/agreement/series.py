"""A pool as its values come in one after another, or go one at a time, and on covariates."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Named = dict[str, Any]
Rows = NDArray[np.intp]

ORDERS = ("year", "date", "order", "time")
KNOWN = ("label", "study", "yi", "vi", "effect", "row", "tester", "cluster", "paper", "session",
         "own_variance", "shared_baseline_variance", "shared_baseline_covariance", "set",
         "n1", "mean1", "sd1", "n2", "mean2", "sd2")  # fmt: skip
REGRESSIONS = ("moderator", "covariate", "regression")


def series(
    data: Named,
    expected: Named,
    units: Sequence[Any],
    pooled: Callable[[Rows, str], Named],
) -> Named:
    """What is expected under names that begin with 'cumulative' and 'leave_one_out'.

    `units` are what comes and goes, one code a row (studies, or clusters); `pooled` takes rows and
    the rest of the name, which says by which method, and gives the figures of one pool.
    """
    code = np.asarray(units)
    found: Named = {}
    for name, asked in expected.items():
        if not isinstance(asked, dict):
            continue
        if method := re.fullmatch(r"leave_one(?:_cluster|_tester)?_out_?(.*)", name):
            each = np.unique(code)
            found[name] = _listed(
                [pooled(np.flatnonzero(code != one), method.group(1)) for one in each]
            )
        elif method := re.fullmatch(r"cumulative_?(.*)", name):
            found[name] = _cumulative(data, code, asked, method.group(1), pooled)
    return found


def _cumulative(
    data: Named, code: NDArray[Any], asked: Named, method: str, pooled: Callable[[Rows, str], Named]
) -> Named:
    of_row = next((data[name] for name in ORDERS if name in data), np.arange(code.size))
    first = {one: row for row, one in reversed(list(enumerate(code.tolist())))}
    order = sorted(first, key=lambda one: (of_row[first[one]], first[one]))
    least = int(asked.get("first_row_has", 2))
    steps = [
        pooled(np.flatnonzero(np.isin(code, order[:n])), method)
        for n in range(least, len(order) + 1)
    ]
    places = [first[one] + 1 for one in order] if len(order) == code.size else order
    return {"order": places, "first_row_has": least, **_listed(steps)}


def _listed(pools: Sequence[Named]) -> Named:
    return {name: [one[name] for one in pools] for name in (pools[0] if pools else ())}


def covariates_of(data: Named, name: str, asked: Named) -> dict[str, list[float]]:
    """The columns that a figure of this name is on: those it names, or all but codes and years."""
    rows = len(data.get("yi", ()))
    found = {
        column: values
        for column, values in data.items()
        if column not in KNOWN
        and isinstance(values, list)
        and len(values) == rows
        and all(isinstance(value, int | float) for value in values)
    }
    named = {one: values for one, values in found.items() if one in name or one in asked}
    timeless = {one: values for one, values in found.items() if one not in ORDERS}
    return named or timeless or found


def asks_for_covariates(name: str) -> bool:
    """Whether a figure of this name is of a pool on covariates."""
    return any(word in name for word in REGRESSIONS)
