"""Charts of a pool beside its forest plot: single pulls, history, leave-one-out.

All in light colours, for ``forest.darkened`` to turn; text stays text, and the ground transparent.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import vl_convert

from results.charts.forest_plot import (
    LIGHT,
    LONGEST_SUBTITLE,
    LONGEST_TITLE,
    Forest,
    ForestRow,
    look,
    shortened,
)
from results.models import Pool, PoolVersion
from results.pools.figures import figures_of, findings_of
from results.statistics.failure_modes import EXACT
from results.statistics.pull_classes import BIN

WIDTH, PULLS, STRAIGHT, HISTORY = 300, 150, 80, 190
"""Pixels; beside its axis a chart keeps its size on a phone of 390."""
MOST_VERSIONS, MOST_TESTERS, MOST_JOINS = 40, 40, 30

INK, MUTED, PULLED, POOLED = (LIGHT[name] for name in ("ink", "muted", "tester", "pool"))
AT_LEAST = LIGHT["at least"]


def pulls_svg(version: PoolVersion) -> str:
    """Single pulls of the join above single pulls of straight line, each against its own line."""
    findings = findings_of(version)
    joined, straight = findings["pulls"], findings["straight"]
    places = [place for place, _mode, _number in (*joined, *straight)]
    scale = alt.Scale(
        domain=[100 * min(places, default=0.4), 100 * (max(places, default=1.0) + BIN)]
    )
    above = _bars(joined, scale, PULLS, "pulls of the join")
    below = _bars(straight, scale, STRAIGHT, "straight line", axis="percent of mean straight line")
    subtitle = "strong: that strength; faint: at least that"
    return _svg(
        alt.vconcat(above, below, spacing=8).properties(title=_title(version.pool, subtitle))
    )


def _bars(
    pulls: Sequence[Sequence[Any]],
    scale: alt.Scale,
    height: int,
    title: str,
    axis: str | None = None,
) -> alt.LayerChart | alt.FacetChart:
    rows = [
        {
            "from": 100 * place,
            "to": 100 * (place + BIN),
            "number": number,
            "load": "exact" if mode in EXACT else "at least",
        }
        for place, mode, number in pulls
    ]
    bars = (
        alt.Chart(alt.Data(values=rows))
        .mark_bar(stroke=None)
        .encode(
            x=alt.X("from:Q", title=axis, scale=scale, axis=alt.Axis(labels=axis is not None)),
            x2="to:Q",
            y=alt.Y("sum(number):Q", title=title, axis=alt.Axis(tickMinStep=1, tickCount=4)),
            color=alt.Color(
                "load:N",
                scale=alt.Scale(domain=["exact", "at least"], range=[PULLED, AT_LEAST]),
                legend=None,
            ),
        )
    )
    line = alt.Chart(alt.Data(values=[{"x": 100}])).mark_rule(color=INK, strokeWidth=1.5)
    return alt.layer(bars, line.encode(x=alt.X("x:Q", scale=scale))).properties(
        width=WIDTH, height=height
    )


def history_svg(pool: Pool, versions: Sequence[PoolVersion]) -> str:
    """The pooled efficiency version by version, the newest last; versions without one are gaps."""
    rows = [
        {
            "number": version.number,
            "value": 100 * version.efficiency,
            "low": 100 * (version.interval_low or 0.0),
            "high": 100 * (version.interval_high or 0.0),
        }
        for version in list(versions)[:MOST_VERSIONS]
        if version.efficiency is not None
    ]
    base = alt.Chart(alt.Data(values=rows))
    axis = alt.Axis(tickMinStep=1, format="d", grid=False)
    scale = alt.Scale(zero=False)
    x = alt.X("number:Q", title="version", axis=axis, scale=alt.Scale(zero=False, padding=12))
    y = alt.Y("value:Q", title="percent of straight line", scale=scale)
    layers = [
        base.mark_rule(color=POOLED, strokeWidth=2).encode(x=x, y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(color=POOLED, strokeDash=[2, 3]).encode(x=x, y=y),
        base.mark_circle(color=POOLED, size=60, opacity=1).encode(x=x, y=y),
    ]
    chart = alt.layer(*layers).properties(
        width=WIDTH, height=HISTORY, title=_title(pool, "pooled efficiency with 95% interval")
    )
    return _svg(chart)


def left_out_forest(version: PoolVersion, handles: Mapping[int, str]) -> Forest | None:
    """The pool without each tester in turn; None where no one was left out: three are too few."""
    left_out = figures_of(version).get("leave_one_out")
    if not left_out or not left_out.has("tester", "mu", "se_model"):
        return None
    columns = zip(left_out["tester"], left_out["mu"], left_out["se_model"], strict=True)
    rows = [
        ForestRow(
            f"without {handles.get(tester, 'a former tester')}",
            value=100 * math.exp(mu),
            low=100 * math.exp(mu - 1.96 * se),
            high=100 * math.exp(mu + 1.96 * se),
        )
        for tester, mu, se in columns
    ]
    whole = 100 * float(version.efficiency or 0.0)
    rows.sort(key=lambda row: -abs(row.value - whole))
    shown = sorted(rows[:MOST_TESTERS], key=lambda row: -row.value)
    pool = version.pool
    return Forest(
        title=f"{pool.tie}, without each tester",
        subtitle=(
            f"{pool.line_pair}, {pool.conditions}",
            f"all together {whole:.1f}; model interval"
            + (f"; {len(shown)} of {len(rows)} rows" if len(rows) > len(shown) else ""),
        ),
        rows=shown,
        pooled=None,
    )


def joins_forest(pools: Sequence[Pool]) -> Forest | None:
    """The joins of one line pair with their pooled intervals; None where none is pooled."""
    estimated = [(pool, pool.current) for pool in pools if pool.current and pool.current.efficiency]
    if not estimated:
        return None
    rows = [
        ForestRow(
            f"{pool.tie}, {version.testers} testers",
            value=100 * float(version.efficiency or 0.0),
            low=None if version.interval_low is None else 100 * version.interval_low,
            high=None if version.interval_high is None else 100 * version.interval_high,
        )
        for pool, version in estimated
    ]
    rows.sort(key=lambda row: -row.value)
    first = estimated[0][0]
    return Forest(
        title="Joins side by side",
        subtitle=(
            f"{first.line_pair}, {first.conditions}",
            "overlapping intervals: perhaps no difference",
        ),
        rows=rows[:MOST_JOINS],
        pooled=None,
    )


def _title(pool: Pool, subtitle: str) -> alt.TitleParams:
    return alt.TitleParams(
        shortened(pool.tie, LONGEST_TITLE),
        subtitle=[
            shortened(f"{pool.line_pair}, {pool.conditions}", LONGEST_SUBTITLE),
            subtitle,
        ],
    )


def _svg(chart: alt.TopLevelMixin) -> str:
    drawn: str = vl_convert.vegalite_to_svg(chart.configure(**look()).to_dict(validate=False))
    return drawn
