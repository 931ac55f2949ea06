"""The strip beside each join of the list: interval and prediction interval on one common scale."""

from __future__ import annotations

from dataclasses import dataclass

from results.models import PoolVersion

LENGTH = 260
FROM, TO = 0.4, 1.2
"""Efficiencies at the ends of every strip; what lies beyond is cut."""


@dataclass(frozen=True)
class Strip:
    """Places along the strip, from 0 to LENGTH."""

    value: float
    low: float
    width: float
    prediction_low: float
    prediction_high: float
    straight_line: float
    length: int = LENGTH


def strip_of(version: PoolVersion | None) -> Strip | None:
    """The strip of a version, or None where there is no pooled figure.

    An interval that is not known has no width.
    """
    if version is None or version.efficiency is None:
        return None
    value = version.efficiency
    low, high, expected_low, expected_high = (
        _place(value if end is None else end)
        for end in (
            version.interval_low,
            version.interval_high,
            version.prediction_low,
            version.prediction_high,
        )
    )
    return Strip(
        value=_place(value),
        low=low,
        width=round(max(high - low, 1.0), 1),
        prediction_low=expected_low,
        prediction_high=expected_high,
        straight_line=_place(1.0),
    )


def _place(efficiency: float) -> float:
    share = (efficiency - FROM) / (TO - FROM)
    return round(LENGTH * min(max(share, 0.0), 1.0), 1)
