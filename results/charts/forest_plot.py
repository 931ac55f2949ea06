"""The forest plot: how its rows and colours become a chart, and the chart an SVG.

Each row carries its words above its interval instead of beside it, so that the plot keeps its
full width on a phone. Text stays text, and the ground transparent.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import altair as alt
import vl_convert

WIDTH, TOP, ROW, GAP = 360, 24, 38, 12
"""Pixels: the plot's width, and the heights above the rows, of a row, and before the pool."""

WORDS, SPARED, INTERVAL = 12, 8, 25
"""Pixels: a row's words below its top, what they need on either side, and its interval."""

LOWEST, HIGHEST = 0.0, 250.0
"""Percent: nothing is drawn outside of this, whatever an odd interval says."""

REACH = 40.0
"""Percent: how far beyond the outermost value a long interval may stretch the axis."""

LONGEST_LABEL, LONGEST_TITLE, LONGEST_SUBTITLE = 26, 38, 48
"""Characters that surely fit; measuring them would cost more than the rest of the drawing."""

FONT = "Verdana, 'DejaVu Sans', sans-serif"

LIGHT = {
    "ink": "#17252d",
    "muted": "#4d5e67",
    "grid": "#d5dad7",
    "tester": "#0f5c85",
    "pool": "#a8430a",
    "expected": "#f6e3d4",
    "at least": "#8fb4c8",
}
DARK = {
    "ink": "#edf1f0",
    "muted": "#a9b8bf",
    "grid": "#33424b",
    "tester": "#7cc7ea",
    "pool": "#ffa361",
    "expected": "#3c2b1f",
    "at least": "#3f6f88",
}
"""Colours by what they are of; blue and orange stay apart for every kind of colour vision."""

INK, MUTED, TESTER, POOL = (LIGHT[name] for name in ("ink", "muted", "tester", "pool"))


@dataclass(frozen=True)
class ForestRow:
    """One row in percent; an end that is None is open."""

    label: str
    value: float
    low: float | None
    high: float | None
    shrunken: float | None = None


@dataclass(frozen=True)
class PooledRow:
    """The pool in percent: its interval, and where a new tester is expected; None if not known."""

    value: float
    low: float | None
    high: float | None
    prediction_low: float | None
    prediction_high: float | None


@dataclass(frozen=True)
class Forest:
    """All that a forest plot shows; without ``pooled`` the rows stand alone."""

    title: str
    subtitle: Sequence[str]
    rows: Sequence[ForestRow]
    pooled: PooledRow | None


def svg(forest: Forest) -> str:
    """The forest plot as an SVG document in the colours of the light theme."""
    drawn: str = vl_convert.vegalite_to_svg(specification(forest))
    return drawn


def darkened(light: str) -> str:
    """The same drawing for a dark background: colours are replaced, nothing is redrawn."""
    counterpart = {LIGHT[name]: DARK[name] for name in LIGHT}
    return re.sub(
        '"(#[0-9a-f]{6})"', lambda found: f'"{counterpart.get(found[1], found[1])}"', light
    )


def specification(forest: Forest) -> dict[str, Any]:
    """The forest plot as a Vega-Lite specification."""
    height = TOP + ROW * len(forest.rows) + (GAP + ROW if forest.pooled else 0)
    return _chart(with_pool=forest.pooled is not None) | {
        "height": height,
        "title": {
            "text": shortened(forest.title, LONGEST_TITLE),
            "subtitle": [shortened(words, LONGEST_SUBTITLE) for words in forest.subtitle],
        },
        "datasets": _datasets(forest, height),
    }


@cache
def _chart(*, with_pool: bool) -> dict[str, Any]:
    """The chart without its data; the same for all forests, so it is made once."""
    layers = [_ground(), *_straight_line(), *_rows()]
    if with_pool:
        layers = [_ground(), *_expected(), *_straight_line(), *_rows(), *_pool()]
    chart = alt.layer(*layers).properties(width=WIDTH).configure(**look())
    drawn: dict[str, Any] = chart.to_dict(validate=False)
    return drawn


def shortened(text: str, longest: int) -> str:
    """The text, or as much of it as fits."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def domain(forest: Forest) -> tuple[float, float]:
    """Percent from and to which the axis runs: around every value and interval, and always 100."""
    values = [row.value for row in forest.rows] + [100.0]
    ends = [end for row in forest.rows for end in (row.low, row.high) if end is not None]
    if forest.pooled:
        pooled = forest.pooled
        values.append(pooled.value)
        of_pool = (pooled.low, pooled.high, pooled.prediction_low, pooled.prediction_high)
        ends += [end for end in of_pool if end is not None]
    low = max(min([*values, *ends]), min(values) - REACH, LOWEST + 1)
    high = min(max([*values, *ends]), max(values) + REACH, HIGHEST - 1)
    return math.floor((low - 1) / 5) * 5.0, math.ceil((high + 1) / 5) * 5.0


def _datasets(forest: Forest, height: int) -> dict[str, list[dict[str, Any]]]:
    low, high = domain(forest)
    rows = [_placed(row, TOP + ROW * place, low, high) for place, row in enumerate(forest.rows)]
    below = [
        row for row, whole in zip(rows, forest.rows, strict=True) if _beyond(whole.low, low, -1)
    ]
    above = [row for row, whole in zip(rows, forest.rows, strict=True) if _beyond(whole.high, high)]
    return {
        "ground": [{"x": low}, {"x": high}],
        "name": [{"x": 100.0, "y": 4, "label": "straight line"}],
        "line": _upright(100.0, 10, height),
        "through": _upright(_inside(forest.pooled.value, low, high), TOP, height)
        if forest.pooled
        else [],
        "rows": rows,
        "shrunken": [row for row in rows if row["shrunken"] is not None],
        "arrows": [{"x": low, "y": row["y"], "turn": -90} for row in below]
        + [{"x": high, "y": row["y"], "turn": 90} for row in above],
        "pool": [_placed_pool(forest.pooled, height, low, high)] if forest.pooled else [],
    }


def _upright(x: float, top: float, height: int) -> list[dict[str, float]]:
    """A line from top to bottom that spares the words of every row, and those of the pool."""
    words = [*range(TOP + WORDS, height - ROW, ROW), height - ROW + WORDS]
    starts = [top, *(place + SPARED for place in words)]
    ends = [*(place - SPARED for place in words), height]
    return [{"x": x, "top": start, "bottom": end} for start, end in zip(starts, ends, strict=True)]


def _beyond(end: float | None, limit: float, sign: int = 1) -> bool:
    """Whether an interval runs on beyond the axis."""
    return end is None or sign * (end - limit) > 0


def _placed(row: ForestRow, top: float, low: float, high: float) -> dict[str, Any]:
    """A row's words and marks, its ends cut to the axis."""
    from_ = "open" if row.low is None else f"{row.low:.1f}"
    to = "open" if row.high is None else f"{row.high:.1f}"
    return {
        "label": shortened(row.label, LONGEST_LABEL),
        "figures": f"{row.value:.1f} ({from_} to {to})",
        "value": _inside(row.value, low, high),
        "low": low if row.low is None else _inside(row.low, low, high),
        "high": high if row.high is None else _inside(row.high, low, high),
        "shrunken": None if row.shrunken is None else _inside(row.shrunken, low, high),
        "words": top + WORDS,
        "y": top + INTERVAL,
    }


def _placed_pool(pooled: PooledRow, height: float, low: float, high: float) -> dict[str, Any]:
    """As a row; an interval that is not known has no width."""
    interval = "interval not known"
    if pooled.low is not None and pooled.high is not None:
        interval = f"{pooled.low:.1f} to {pooled.high:.1f}"
    ends = {
        name: _inside(pooled.value if end is None else end, low, high)
        for name, end in vars(pooled).items()
    }
    return ends | {
        "label": "All testers",
        "figures": f"{pooled.value:.1f} ({interval})",
        "words": height - ROW + WORDS,
        "upper": height - ROW + INTERVAL - 6,
        "y": height - ROW + INTERVAL,
        "lower": height - ROW + INTERVAL + 6,
        "top": TOP,
        "bottom": height,
    }


def _inside(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def _of(dataset: str) -> alt.Chart:
    return alt.Chart(alt.NamedData(dataset))


def _x(field: str, **options: Any) -> alt.X:
    return alt.X(f"{field}:Q", title="percent of the straight line's strength", **options)


def _y(field: str) -> alt.Y:
    """A place counted in pixels from the top."""
    return alt.Y(f"{field}:Q", scale=None, axis=None)


def _ground() -> alt.Chart:
    """Nothing to be seen: its two ends give all layers one axis."""
    axis = alt.Axis(tickCount=6, format="d")
    scale = alt.Scale(nice=False, zero=False)
    ends: alt.Chart = _of("ground").mark_point(color=MUTED, opacity=0)
    return ends.encode(x=_x("x", axis=axis, scale=scale))


def _words(dataset: str, colour: str) -> list[alt.Chart]:
    """The label of a row on the left, its figures on the right."""
    left = _of(dataset).mark_text(align="left", color=colour)
    right = _of(dataset).mark_text(align="right", color=colour)
    return [
        left.encode(x=alt.value(0), y=_y("words"), text="label:N"),
        right.encode(x=alt.value(WIDTH), y=_y("words"), text="figures:N"),
    ]


def _straight_line() -> list[alt.Chart]:
    rule = _of("line").mark_rule(color=INK, strokeWidth=1.5)
    name = _of("name").mark_text(color=MUTED)
    return [
        rule.encode(x=_x("x"), y=_y("top"), y2="bottom:Q"),
        name.encode(x=_x("x"), y=_y("y"), text="label:N"),
    ]


def _rows() -> list[alt.Chart]:
    """Interval, arrows where it runs on, lightly the shrunken value, and the value."""
    interval = _of("rows").mark_rule(color=TESTER, strokeWidth=2)
    arrow = _of("arrows").mark_point(shape="triangle", filled=True, color=TESTER, size=60)
    shrunken = _of("shrunken").mark_point(shape="diamond", color=POOL, size=60, strokeWidth=1.5)
    value = _of("rows").mark_circle(color=TESTER, size=70, opacity=1)
    return [
        *_words("rows", INK),
        interval.encode(x=_x("low"), x2="high:Q", y=_y("y")),
        arrow.encode(x=_x("x"), y=_y("y"), angle=alt.Angle("turn:Q", scale=None)),
        value.encode(x=_x("value"), y=_y("y")),
        shrunken.encode(x=_x("shrunken"), y=_y("y")),
    ]


def _expected() -> list[alt.Chart]:
    """Where a new tester is expected, behind all rows, and the pooled value through them."""
    band = _of("pool").mark_rect(color=LIGHT["expected"], opacity=1)
    through = _of("through").mark_rule(color=POOL, strokeDash=[2, 3])
    return [
        band.encode(x=_x("prediction_low"), x2="prediction_high:Q", y=_y("top"), y2="bottom:Q"),
        through.encode(x=_x("x"), y=_y("top"), y2="bottom:Q"),
    ]


def _pool() -> list[alt.Chart]:
    """The pool's interval as a round-ended bar on its longer prediction interval."""
    prediction = _of("pool").mark_rule(color=POOL, strokeWidth=1.5)
    interval = _of("pool").mark_rect(color=POOL, cornerRadius=6, opacity=1)
    return [
        *_words("pool", POOL),
        prediction.encode(x=_x("prediction_low"), x2="prediction_high:Q", y=_y("y")),
        interval.encode(x=_x("low"), x2="high:Q", y=_y("upper"), y2="lower:Q"),
    ]


def look() -> dict[str, Any]:
    return {
        "background": "transparent",
        "aria": False,
        "font": FONT,
        "view": {"stroke": None},
        "text": {"fontSize": 12.5},
        "title": {
            "color": INK,
            "subtitleColor": MUTED,
            "fontSize": 14,
            "subtitleFontSize": 12,
            "anchor": "start",
            "frame": "bounds",
            "offset": 10,
        },
        "axis": {
            "labelColor": MUTED,
            "titleColor": MUTED,
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
            "gridColor": LIGHT["grid"],
            "domainColor": MUTED,
            "tickColor": MUTED,
        },
    }
