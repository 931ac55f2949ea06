"""The forest plot: how its rows, bands and colours become a chart, and the chart an SVG.

Each row carries its words above its interval instead of beside it, so that the plot keeps its
full width on a phone. Text stays text, and the ground transparent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import vl_convert

WIDTH, ROW, TOP, GAP = 400, 38, 26, 20
MOST_ROWS = 60
"""Rows beyond these are left out of the drawing, the lightest first; the table has them all."""

LOWEST, HIGHEST = 0.0, 250.0
"""Percent: nothing is drawn outside of this, whatever an odd interval says."""

FONT = "Verdana, 'DejaVu Sans', sans-serif"


@dataclass(frozen=True)
class Theme:
    """Colours of one theme; blue and orange stay apart for every kind of colour vision."""

    ink: str
    muted: str
    grid: str
    tester: str
    pool: str
    band: str


LIGHT = Theme("#17252d", "#4d5e67", "#d5dad7", "#0f5c85", "#a8430a", "#f3dccb")
DARK = Theme("#edf1f0", "#a9b8bf", "#33424b", "#7cc7ea", "#ffa361", "#46301f")


@dataclass(frozen=True)
class Row:
    """One line of the plot in percent; an end that is None is open."""

    label: str
    value: float
    low: float | None
    high: float | None
    shrunken: float | None = None


@dataclass(frozen=True)
class PooledRow:
    """The pool in percent: its interval, and where a new tester is expected."""

    value: float
    low: float
    high: float
    prediction_low: float
    prediction_high: float


@dataclass(frozen=True)
class Forest:
    """All that a forest plot shows; without ``pooled`` the rows stand alone."""

    title: str
    subtitle: str
    rows: Sequence[Row]
    pooled: PooledRow | None


def svg(forest: Forest, theme: Theme) -> str:
    """The forest plot as an SVG document."""
    drawn: str = vl_convert.vegalite_to_svg(specification(forest, theme))
    return drawn


def specification(forest: Forest, theme: Theme) -> dict[str, Any]:
    """The forest plot as a Vega-Lite specification."""
    low, high = domain(forest)
    rows = [_drawn(row, place, low, high) for place, row in enumerate(forest.rows)]
    bottom = TOP + ROW * len(rows) + (GAP + 2 * ROW if forest.pooled else 0)
    x = alt.X(
        "x:Q",
        scale=alt.Scale(domain=[low, high], nice=False, zero=False),
        axis=alt.Axis(title="percent of the straight line's strength", tickCount=6, format="d"),
    )
    layers = [*_straight_line(x, bottom, theme), *_rows(rows, x, theme)]
    if forest.pooled:
        layers = [
            *_bands(forest.pooled, x, bottom, theme),
            *layers,
            *_pooled(forest.pooled, x, bottom, theme),
        ]
    chart = alt.layer(*layers).properties(
        width=WIDTH,
        height=bottom,
        description=f"{forest.title}. {forest.subtitle}",
        title=alt.TitleParams(
            forest.title, subtitle=forest.subtitle, anchor="start", frame="group", offset=10
        ),
    )
    return chart.configure(**_look(theme)).to_dict(validate=False)


def domain(forest: Forest) -> tuple[float, float]:
    """Percent from and to which the axis runs: all that is shown, and always 100.

    An open or very long interval does not stretch it: a row may reach at most 40 points beyond
    the outermost value.
    """
    values = [row.value for row in forest.rows] + [100.0]
    ends = [end for row in forest.rows for end in (row.low, row.high) if end is not None]
    if forest.pooled:
        pooled = forest.pooled
        values.append(pooled.value)
        ends += [pooled.low, pooled.high, pooled.prediction_low, pooled.prediction_high]
    low = max(min([*values, *ends]), min(values) - 40, LOWEST)
    high = min(max([*values, *ends]), max(values) + 40, HIGHEST)
    return math.floor((low - 1) / 5) * 5.0 if low > 1 else 0.0, math.ceil((high + 1) / 5) * 5.0


def _drawn(row: Row, place: int, low: float, high: float) -> dict[str, Any]:
    """A row with its interval cut to the axis; ``cut_low`` and ``cut_high`` are where it goes on."""
    cut_low = row.low is None or row.low < low
    cut_high = row.high is None or row.high > high
    from_ = "open" if row.low is None else f"{row.low:.1f}"
    to = "open" if row.high is None else f"{row.high:.1f}"
    return {
        "label": row.label,
        "figures": f"{row.value:.1f} ({from_} to {to})",
        "x": min(max(row.value, low), high),
        "low": low if cut_low or row.low is None else min(row.low, high),
        "high": high if cut_high or row.high is None else max(row.high, low),
        "cut_low": low if cut_low else None,
        "cut_high": high if cut_high else None,
        "shrunken": row.shrunken,
        "words_y": TOP + place * ROW + 12,
        "y": TOP + place * ROW + 25,
    }


def _data(*rows: dict[str, Any]) -> alt.Chart:
    return alt.Chart(alt.InlineData(values=list(rows)))


def _pixels(field: str) -> alt.Y:
    """A place counted in pixels from the top."""
    return alt.Y(f"{field}:Q", scale=None, axis=None)


def _straight_line(x: alt.X, bottom: float, theme: Theme) -> list[alt.Chart]:
    mark = _data({"x": 100.0, "y": 8, "y2": bottom, "label": "straight line"})
    return [
        mark.mark_rule(color=theme.ink, strokeWidth=1.5).encode(x=x, y=_pixels("y"), y2="y2:Q"),
        mark.mark_text(color=theme.ink, fontSize=11, dy=-6).encode(
            x=x, y=_pixels("y"), text="label:N"
        ),
    ]


def _rows(rows: list[dict[str, Any]], x: alt.X, theme: Theme) -> list[alt.Chart]:
    """Words above, then interval with arrows where it goes on, shrunken value and own value."""
    base, y = _data(*rows), _pixels("y")
    arrow = {"shape": "triangle-left", "filled": True, "size": 50, "color": theme.tester}
    return [
        *_words(base, theme.ink),
        base.mark_rule(color=theme.tester, strokeWidth=2).encode(
            x=x.copy().__class__("low:Q", scale=x.scale, axis=x.axis), x2="high:Q", y=y
        ),
    ]
