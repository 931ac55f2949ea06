"""Cards: the pictures shown where a link to a page is posted, each with the caution on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import altair as alt
import vl_convert

from results.charts.forest_plot import LIGHT, look, shortened
from results.models import PoolVersion

WIDTH, HEIGHT, MARGIN = 600, 315, 36
"""Pixels; drawn at twice that, the size that is shown whole where links are posted."""
FROM, TO = 0.4, 1.2
"""Efficiencies at the ends of the strip; what lies beyond is cut."""
STRIP, THICK = 226, 12
"""Pixels: the middle of the strip from the top, and the thickness of its interval."""
BEING_RECOMPUTED = "being recomputed"
CAUTION = "Loaded line snaps back: eye protection. Not for lifting, climbing or life support."

INK, MUTED, POOLED = (LIGHT[name] for name in ("ink", "muted", "pool"))
EXPECTED = "#d99c74"
"""Stronger than in a forest plot, where it is a ground behind rows."""


@dataclass(frozen=True)
class Words:
    """A line of words: its foot from the top, its size, and how it looks."""

    y: int
    size: int
    text: str
    colour: str = INK
    weight: Literal["normal", "bold"] = "normal"


def pool_card(version: PoolVersion, note: str = "") -> str:
    """The card of a version: its figure, the strip, what to expect, and what is behind it.

    ``note`` is what readers need to know of the figure's age.
    """
    pool = version.pool
    behind = (f"{version.testers} testers", f"{version.pulls} pulls", f"version {version.number}")
    counts = ", ".join(each for each in (*behind, note) if each)
    head = [
        Words(42, 16, "Samespool", MUTED),
        Words(84, 32, shortened(pool.tie, 28), INK, "bold"),
        Words(112, 16, shortened(f"{pool.line_pair}, {pool.conditions}", 62), MUTED),
    ]
    foot = [Words(284, 14, counts, MUTED), Words(303, 12, CAUTION)]
    if version.efficiency is None:
        value = BEING_RECOMPUTED if version.taken_down_at else "not pooled yet"
        return _drawn([*head, Words(190, 44, value, POOLED, "bold"), *foot])
    of = f"of the straight line{_between(version.interval_low, version.interval_high, ', ')}"
    expected = _between(version.prediction_low, version.prediction_high)
    figure = [
        Words(182, 60, f"{100 * version.efficiency:.1f}%", POOLED, "bold"),
        Words(206, 15, of),
        Words(260, 16, f"If you tie it, expect a set to average {expected}" if expected else ""),
    ]
    return _drawn([*head, *figure, *foot], _strip(version))


def service_card() -> str:
    """The card of pages that have no figure of their own."""
    return _drawn(
        [
            Words(120, 48, "Samespool", POOLED, "bold"),
            Words(166, 20, "How strong fishing-line joins are,"),
            Words(194, 20, "pulled on home rigs by many testers"),
            Words(222, 20, "and compared on one scale"),
            Words(303, 12, CAUTION),
        ]
    )


def _between(low: float | None, high: float | None, before: str = "") -> str:
    if low is None or high is None:
        return ""
    return f"{before}{100 * low:.1f} to {100 * high:.1f}%"


def _drawn(words: list[Words], layers: list[alt.Chart] | None = None) -> str:
    written = [
        alt.Chart(alt.Data(values=[{"y": each.y, "text": each.text}]))
        .mark_text(align="left", baseline="alphabetic", fontSize=each.size, fontWeight=each.weight)
        .encode(
            x=alt.value(MARGIN),
            y=alt.Y("y:Q", scale=None, axis=None),
            text="text:N",
            color=alt.value(each.colour),
        )
        for each in words
        if each.text
    ]
    chart = alt.layer(*(layers or []), *written)
    chart = chart.properties(width=WIDTH, height=HEIGHT, padding=0).configure(**look())
    drawn: str = vl_convert.vegalite_to_svg(chart.to_dict(validate=False))
    return drawn


def _strip(version: PoolVersion) -> list[alt.Chart]:
    """Where a new tester's set is expected, the interval, and straight line, on one scale."""
    ends = (version.prediction_low, version.prediction_high)
    interval = (version.interval_low, version.interval_high)
    marks = [_bar(*ends, 4, EXPECTED), _bar(*interval, THICK, POOLED)]
    at = _place(1.0)
    line = _block(at - 1, at + 1, THICK + 10, INK)
    return [*(mark for mark in marks if mark is not None), line]


def _bar(low: float | None, high: float | None, thick: int, colour: str) -> alt.Chart | None:
    if low is None or high is None:
        return None
    return _block(_place(low), max(_place(high), _place(low) + 2), thick, colour)


def _block(left: float, right: float, thick: int, colour: str) -> alt.Chart:
    row: dict[str, Any] = {"top": STRIP - thick / 2, "bottom": STRIP + thick / 2}
    block: alt.Chart = alt.Chart(alt.Data(values=[row])).mark_rect(color=colour, opacity=1)
    return block.encode(
        x=alt.value(left),
        x2=alt.value(right),
        y=alt.Y("top:Q", scale=None, axis=None),
        y2="bottom:Q",
    )


def _place(efficiency: float) -> float:
    """Pixels from the left."""
    share = min(max((efficiency - FROM) / (TO - FROM), 0.0), 1.0)
    return MARGIN + share * (WIDTH - 2 * MARGIN)
