"""A rig that has not moved: straight line 'same' or 'moved', and false signals of its chart."""

from __future__ import annotations

from functools import partial

import numpy as np

from deploy.benchmarks.truth.hostile import LINE_N, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from rigs.metrology.equivalence import equivalence
from rigs.metrology.watch import watch_straight_line

SESSIONS, CV = 20, 0.035


def same_or_moved(day_sd: float, pulls: int, rng: Rng) -> Measured:
    """Coverage of the 90 percent interval of two days' ratio, which is 1 in the long run."""
    days = [LINE_N * np.exp(day_sd * rng.normal()) for _ in range(2)]
    found = equivalence(*(day * unit_loads(rng, "lognormal", CV, pulls) for day in days))
    yield "ratio", float(found.lower <= 1 <= found.upper)
    yield "called moved", float(found.verdict == "moved")


def drift(day_sd: float, tails: float | None, rng: Rng) -> Measured:
    """Whether a chart of twenty sessions signals anywhere."""
    unit = rng.normal(size=SESSIONS) if tails is None else rng.standard_t(tails, SESSIONS) / 2**0.5
    counts = rng.integers(3, 9, SESSIONS)
    pulled = [
        LINE_N * np.exp(day_sd * day) * unit_loads(rng, "lognormal", CV, int(n))
        for day, n in zip(unit, counts, strict=True)
    ]
    means = np.array([each.mean() for each in pulled])
    cvs = np.array([each.std(ddof=1) for each in pulled]) / means
    yield "signals", float(bool(watch_straight_line(means, cvs, counts).signals))


ROWS = (
    *(
        Row(
            "straight line same or moved",
            f"day to day {sd:.1%}, {pulls} pulls",
            partial(same_or_moved, sd, pulls),
            {"ratio": "90"},
        )
        for sd in (0.005, 0.01, 0.015, 0.03)
        for pulls in (5, 8)
    ),
    *(
        Row(
            "drift chart",
            f"day to day {sd:.1%}, {'t4' if tails else 'normal'}",
            partial(drift, sd, tails),
            {"signals": "at most 5"},
        )
        for sd in (0.005, 0.01, 0.015, 0.03)
        for tails in (None, 4.0)
    ),
)
