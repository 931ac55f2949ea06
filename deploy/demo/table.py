"""The pooled table: one row for each pool of the API."""

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
    "prediction interval",
    "I2",
)


def pool_table(pools: Iterable[Any]) -> str:
    """The pools of the API as lines of text, in the order they come; efficiencies in percent.

    A pool of fewer than three testers has no figures, only dashes.
    """
    rows = [HEADINGS, *(_row(pool) for pool in pools)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


def _row(pool: Any) -> tuple[str, ...]:
    version = pool["current"]
    return (
        pool["tie"],
        f"{pool['line_pair']}, {pool['conditions']}",
        str(version["testers"]),
        str(version["pulls"]),
        _percent(version["efficiency"]),
        _interval(version["interval"]),
        _interval(version["prediction"]),
        "-" if version["i2"] is None else f"{100 * version['i2']:.0f} %",
    )


def _percent(ratio: float | None) -> str:
    return "-" if ratio is None else f"{100 * ratio:.1f} %"


def _interval(interval: Any) -> str:
    if interval["low"] is None:
        return "-"
    return f"{100 * interval['low']:.1f} to {100 * interval['high']:.1f}"
