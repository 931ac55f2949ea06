"""What can be: the bounds of every quantity, count and day that a person may write.

They are stated here alone. The columns of the database, the documents of the API and their
description, the forms of the pages and the words of a refusal take them from here. Within them
every figure that is computed stays far from where floating point ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

EARLIEST_DAY = date(1950, 1, 1)
"""Nylon monofilament was a decade old; common practice, no source."""

EARLIEST_ZONE = timedelta(hours=14)
"""It is tomorrow this much earlier where the day begins (IANA time zone Pacific/Kiritimati)."""


@dataclass(frozen=True)
class Bounds:
    """From ``lowest`` to ``highest``, both included unless it has to be ``above`` the lowest."""

    lowest: float
    highest: float
    above: bool = False

    def holds(self, value: float) -> bool:
        """Whether a value is within; NaN and infinity are not."""
        low = self.lowest < value if self.above else self.lowest <= value
        return math.isfinite(value) and low and value <= self.highest

    def times(self, factor: float) -> Bounds:
        """The same bounds in another unit."""
        return Bounds(self.lowest * factor, self.highest * factor, self.above)

    def __str__(self) -> str:
        if self.above:
            return f"above {self.lowest:.12g} and at most {self.highest:.12g}"
        return f"from {self.lowest:.12g} to {self.highest:.12g}"


READING_N = Bounds(0.01, 20_000)
"""A gram to two tonnes: four times the largest label strength that the catalogue takes."""
CALIBRATION_READING_N = Bounds(-100, 50_000)
RESOLUTION_N = Bounds(0.0001, 10_000)
CAPACITY_N = Bounds(0.1, 1_000_000)
LABEL_STRENGTH_N = Bounds(1, 5000)
DIAMETER_m = Bounds(0.00005, 0.003)
JOIN_DIAMETER_mm = Bounds(0, 50, above=True)
FREE_LENGTH_m = Bounds(0.05, 50)
MASS_kg = Bounds(0, 5000)
TOLERANCE_kg = Bounds(0, 50)
WATER_m3 = Bounds(0, 1, above=True)
WATER_TEMPERATURE_C = Bounds(0, 40)
TEMPERATURE_C = Bounds(-60, 60)
SOAK_h = Bounds(0, 10_000)
TIME_TO_BREAK_s = Bounds(0, 3600, above=True)
USUAL_TIME_TO_BREAK_s = Bounds(1, 3600)
TRACE_FORCE_N = Bounds(-2000, 50_000)
"""Of a sample: a load cell that was not tared reads below zero."""
TRACE_TIME_s = Bounds(0, 1_000_000)
"""Of a sample: eleven days since the logger was switched on."""
TRACE_DURATION_s = Bounds(0, 3600, above=True)
TIME_TO_TIE_s = Bounds(0, 3600, above=True)
DISCARDED_TIES = Bounds(0, 10_000)
REVISION_NUMBER = Bounds(1, 10_000)
PULLEYS = Bounds(0, 10)
LEVER_RATIO = Bounds(0.01, 100)
SAMPLE_RATE_Hz = Bounds(0.1, 1_000_000)
LATITUDE_deg = Bounds(-90, 90)
HEIGHT_m = Bounds(-500, 6000)

OF_REVISION: dict[str, Bounds] = {
    "pulleys_between": PULLEYS,
    "lever_ratio": LEVER_RATIO,
    "resolution_N": RESOLUTION_N,
    "capacity_N": CAPACITY_N,
    "sample_rate_Hz": SAMPLE_RATE_Hz,
    "free_length_m": FREE_LENGTH_m,
    "time_to_break_s": USUAL_TIME_TO_BREAK_s,
    "latitude_deg": LATITUDE_deg,
    "height_m": HEIGHT_m,
}
"""The bounds of a rig's revision by the column they are of: database, API and forms take these."""


def latest_day(now: datetime) -> date:
    """The day that it is at ``now``, in UTC, where the day begins."""
    return (now + EARLIEST_ZONE).date()
