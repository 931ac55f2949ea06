"""The two pictures of a case, as SVG: its pulls beside the pool, its straight line day by day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import vl_convert

THIS_SESSION, SAME_RIG, OTHER_RIGS = "this session", "same rig, other days", "other testers"
THIS_SET, OWN_SETS, OTHERS = "this set, each pull", "own other sets", "other testers' sets"

COLOURS = ["#a8430a", "#0f5c85", "#5f6b71"]
"""In the order above; orange and blue stay apart for every kind of colour vision."""

WIDTH = 460


@dataclass(frozen=True)
class StraightMean:
    """Mean straight strength of one session."""

    day: str
    mean_N: float
    whose: str


def pulls(
    percent: Sequence[tuple[float, str]], own: Sequence[float], others: Sequence[float]
) -> str:
    """Pulls of the set in percent of its line, by failure mode, above other sets' efficiencies."""
    rows = [{"of": THIS_SET, "percent": value, "mode": mode} for value, mode in percent]
    rows += [{"of": OWN_SETS, "percent": value, "mode": "mean of a set"} for value in own]
    rows += [{"of": OTHERS, "percent": value, "mode": "mean of a set"} for value in others]
    order = [THIS_SET, OWN_SETS, OTHERS]
    chart = (
        alt.Chart(alt.InlineData(values=rows))
        .mark_point(filled=True, size=60, opacity=0.75)
        .encode(
            x=alt.X(
                "percent:Q",
                title="percent of the straight line's strength",
                scale=alt.Scale(zero=False),
            ),
            y=alt.Y("of:N", title=None, sort=order),
            color=alt.Color("of:N", legend=None, scale=alt.Scale(domain=order, range=COLOURS)),
            shape=alt.Shape("mode:N", title="ended by"),
        )
        .properties(width=WIDTH, height=120)
    )
    return _svg(chart)


def straight_line(means: Sequence[StraightMean]) -> str:
    """Mean straight strength by day: this session, this rig, other testers."""
    order = [THIS_SESSION, SAME_RIG, OTHER_RIGS]
    chart = (
        alt.Chart(alt.InlineData(values=[vars(mean) for mean in means]))
        .mark_point(filled=True, size=60, opacity=0.85)
        .encode(
            x=alt.X("day:T", title=None),
            y=alt.Y("mean_N:Q", title="straight strength, N", scale=alt.Scale(zero=False)),
            color=alt.Color("whose:N", title=None, scale=alt.Scale(domain=order, range=COLOURS)),
            shape=alt.Shape("whose:N", title=None, scale=alt.Scale(domain=order)),
        )
        .properties(width=WIDTH, height=160)
    )
    return _svg(chart)


def _svg(chart: alt.Chart) -> str:
    drawn: str = vl_convert.vegalite_to_svg(chart.to_dict(validate=False))
    return drawn
