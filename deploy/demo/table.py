"""The pooled table: one row for each pool."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

HEADINGS = (
    "join",
    "line pair",
    "testers",
    "pulls",
    "efficiency",
    "95 % interval",
    "a new tester's",
    "I2",
)


def pool_table(pools: Iterable[Any]) -> str:
    """The pools of the API as lines of text, in the order they come."""
    rows = [HEADINGS, *(_row(pool) for pool in pools)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )
