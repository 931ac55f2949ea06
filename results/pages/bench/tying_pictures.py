"""The pictures of My tying: own sets on the pool's strip, own scatter, and a planner's curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from results.pools.session_planning import SessionsPlanned
from results.pools.tester_vs_pool import TesterVsPool

WIDTH, EDGE = 340.0, 10.0
"""Of each picture, about a small phone's width: what is written in it can be read there."""

LOWEST_SCATTER, HIGHEST_SCATTER = 1 / 3, 3.0
"""Ends of the scale of one's own scatter over the others'; what lies beyond is drawn at the end."""

CURVE_HEIGHT, CURVE_LEFT, CURVE_BELOW = 150.0, 38.0, 26.0


@dataclass(frozen=True)
class Span:
    """A bar from ``x``, ``width`` long."""

    x: float
    width: float


@dataclass(frozen=True)
class Standing:
    """Own sets on the strip of the others: places along it, and the ends of its scale."""

    expected: Span | None
    interval: Span | None
    others: float
    own: float
    sets: Sequence[float]
    low: float
    high: float


@dataclass(frozen=True)
class Scattering:
    """Own scatter over the others', with its interval, on a log scale on which 1 is ``same``."""

    interval: Span
    own: float
    same: float


@dataclass(frozen=True)
class Tick:
    """A figure of a scale, and where it stands."""

    at: float
    value: float


@dataclass(frozen=True)
class Curve:
    """Detectable difference by sessions, with what is planned and what is wanted on it."""

    points: str
    chosen_x: float
    chosen_y: float
    wanted_y: float
    across: Sequence[Tick]
    up: Sequence[Tick]


def standing_of(standing: TesterVsPool, own_sets: Sequence[float]) -> Standing:
    """Own efficiencies, as ratios, on the range that is expected of a tester's next set."""
    others = standing.others
    expected = (others.prediction_low, others.prediction_high)
    interval = (others.ci_low, others.ci_high)
    ends = [math.exp(end) for end in (*expected, *interval) if math.isfinite(end)]
    values = [standing.own_efficiency, standing.others_efficiency, *own_sets, *ends]
    room = max(0.02, 0.08 * (max(values) - min(values)))
    low, high = max(min(values) - room, 0.0), max(values) + room

    def place(ratio: float) -> float:
        return round(EDGE + (WIDTH - 2 * EDGE) * (ratio - low) / (high - low), 1)

    def span(ends: tuple[float, float]) -> Span | None:
        if not all(map(math.isfinite, ends)):
            return None
        start, end = (place(math.exp(each)) for each in ends)
        return Span(start, round(max(end - start, 1.0), 1))

    return Standing(
        expected=span(expected),
        interval=span(interval),
        others=place(standing.others_efficiency),
        own=place(standing.own_efficiency),
        sets=[place(each) for each in own_sets],
        low=low,
        high=high,
    )


def scattering_of(standing: TesterVsPool) -> Scattering | None:
    """Own scatter beside the others', where it can be compared."""
    if standing.scatter is None:
        return None
    low, own, high = (
        _on_log_scale(each)
        for each in (
            standing.scatter.ratio_low,
            standing.scatter.ratio,
            standing.scatter.ratio_high,
        )
    )
    return Scattering(Span(low, round(max(high - low, 1.0), 1)), own, _on_log_scale(1.0))


def _on_log_scale(ratio: float) -> float:
    held = min(max(ratio, LOWEST_SCATTER), HIGHEST_SCATTER)
    share = math.log(held / LOWEST_SCATTER) / math.log(HIGHEST_SCATTER / LOWEST_SCATTER)
    return round(EDGE + (WIDTH - 2 * EDGE) * share, 1)


def curve_of(planned: SessionsPlanned) -> Curve:
    """The planner's curve, from zero up to the difference that one session detects."""
    top = 1.1 * max(planned.curve[0], planned.difference)
    number = len(planned.curve)

    def x(sessions: int) -> float:
        return round(CURVE_LEFT + 6 + (WIDTH - CURVE_LEFT - 16) * (sessions - 1) / (number - 1), 1)

    def y(difference: float) -> float:
        return round((CURVE_HEIGHT - CURVE_BELOW) * (1 - difference / top), 1)

    return Curve(
        points=" ".join(
            f"{x(sessions)},{y(each)}" for sessions, each in enumerate(planned.curve, start=1)
        ),
        chosen_x=x(planned.sessions),
        chosen_y=y(planned.detectable),
        wanted_y=y(planned.difference),
        across=[Tick(x(each), each) for each in range(1, number + 1) if each in (1, 4, 8, number)],
        up=[Tick(y(top * share), top * share) for share in (0.0, 0.45, 0.9)],
    )
