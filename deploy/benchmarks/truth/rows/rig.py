"""A rig that has not moved: straight line 'same' or 'moved', and false signals of its chart."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from deploy.benchmarks.truth.hostile import LINE_N, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.rig_checks.rig_scatter import ScatterHistory, history_of
from rigs.metrology.day_to_day import USUAL, Scatter, fit_prior, observed, successive_factors
from rigs.metrology.equivalence import equivalence
from rigs.metrology.watch import watch_straight_line

SESSIONS, CV = 20, 0.035
MOVED = 10
HISTORY = 7
"""Sessions of a rig before two of its days are compared."""
ALL_RIGS = (0.005, 0.01, 0.015, 0.03)
OF_EACH = 15
Days = tuple[list[float], list[float], list[int]]


def same_or_moved(day_sd: float, pulls: int, known: bool, rng: Rng) -> Measured:
    """Coverage of the 90 percent interval of two days' ratio, which is 1 in the long run."""
    prior = of_all_rigs() if known else USUAL
    before = days(rng, day_sd, None, HISTORY if known else 2)
    scatter = history(before, prior).now if known else prior
    two = [LINE_N * np.exp(day_sd * rng.normal()) for _ in range(2)]
    loads = [day * unit_loads(rng, "lognormal", CV, pulls) for day in two]
    found = equivalence(loads[0], loads[1], scatter=scatter)
    yield "ratio", float(found.lower <= 1 <= found.upper)
    yield "called moved", float(found.verdict == "moved")


def drift(day_sd: float, tails: float | None, known: bool, rng: Rng) -> Measured:
    """Whether a chart of twenty sessions signals anywhere, and finds what happens to its rig.

    A shift is from the eleventh session on, a wrong day the eleventh alone. Their sizes are in
    standard deviations of a session of five pulls.
    """
    pulled = days(rng, day_sd, tails, SESSIONS)
    prior = of_all_rigs() if known else USUAL
    yield "signals", float(bool(_signals(pulled, prior)))
    means, cvs, counts = pulled
    sd = np.hypot(day_sd, CV / np.sqrt(5)) * rng.choice([-1, 1])
    for name, size, ends in (
        ("shift of 2 sd found", 2, SESSIONS),
        ("wrong day of 5 sd found", 5, MOVED + 1),
        ("wrong day of 7 sd found", 7, MOVED + 1),
    ):
        moved = [
            mean * np.exp(size * sd) if MOVED <= place < ends else mean
            for place, mean in enumerate(means)
        ]
        signals = _signals((moved, cvs, counts), prior)
        yield name, float(any(MOVED <= place < ends for place in signals))


def _signals(pulled: Days, prior: Scatter) -> tuple[int, ...]:
    found = history(pulled, prior)
    before = [found.before(place) for place in range(SESSIONS)]
    return watch_straight_line(*pulled, found.now, before).signals


def days(rng: Rng, day_sd: float, tails: float | None, sessions: int) -> Days:
    """Mean, coefficient of variation and number of straight pulls of each session."""
    unit = rng.normal(size=sessions) if tails is None else rng.standard_t(tails, sessions) / 2**0.5
    counts = rng.integers(3, 9, sessions).tolist()
    pulled = [
        LINE_N * np.exp(day_sd * day) * unit_loads(rng, "lognormal", CV, n)
        for day, n in zip(unit, counts, strict=True)
    ]
    means = [float(each.mean()) for each in pulled]
    cvs = [float(each.std(ddof=1) / each.mean()) for each in pulled]
    return means, cvs, counts


def history(pulled: Days, prior: Scatter) -> ScatterHistory:
    """What a rig's sessions show of its scatter, as it came to be known."""
    factors = successive_factors(*pulled).tolist()
    return history_of({place: [factor] for place, factor in enumerate(factors, start=1)}, prior)


@cache
def of_all_rigs() -> Scatter:
    """The prior fitted to sixty rigs that scatter differently, some by t."""
    rng = np.random.default_rng(1)
    found = [
        observed(successive_factors(*days(rng, sd, tails, int(rng.integers(3, 12)))))
        for sd in ALL_RIGS
        for tails in (None, 4.0)
        for _ in range(OF_EACH)
    ]
    return fit_prior([each.factor for each in found], [each.degrees_of_freedom for each in found])


def _said(known: bool) -> str:
    return "rigs known" if known else "no rig known"


ROWS = (
    *(
        Row(
            "straight line same or moved",
            f"day to day {sd:.1%}, {pulls} pulls, {_said(known)}",
            partial(same_or_moved, sd, pulls, known),
            {"ratio": "90"},
        )
        for sd in ALL_RIGS
        for pulls, known in ((5, True), (5, False), (8, True))
    ),
    *(
        Row(
            "drift chart",
            f"day to day {sd:.1%}, {'t4' if tails else 'normal'}, {_said(known)}",
            partial(drift, sd, tails, known),
            {"signals": "at most 5"},
        )
        for sd in ALL_RIGS
        for tails, known in ((None, True), (4.0, True), (None, False))
    ),
)
