"""Charts of a rig: control charts of a series, and residuals of a calibration."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import altair as alt
import numpy as np
import vl_convert

from results.charts.forest_plot import (
    LIGHT,
    LONGEST_SUBTITLE,
    LONGEST_TITLE,
    look,
    shortened,
)
from results.rig_checks.control_charts import Series
from rigs.calibration_report import line_of
from rigs.metrology.charts import ControlChart
from rigs.models import Calibration, CalibrationReading

WIDTH, INDIVIDUALS, AVERAGES, RESIDUALS = 270, 190, 110, 190
"""Pixels; beside its axis a chart keeps its size on a phone of 390."""

INK, MUTED, MARKED, SIGNAL = (LIGHT[name] for name in ("ink", "muted", "tester", "pool"))
DASHES = [4, 3]
RESIDUAL_PLACES = 6
"""Decimals of a residual in newtons: below them is only what arithmetic leaves."""


def watch_svg(series: Series) -> str | None:
    """Individuals and EWMA of a series in light colours; None where there is nothing to chart."""
    if series.watch is None:
        return None
    title = alt.TitleParams(
        shortened(series.what, LONGEST_TITLE),
        subtitle=[
            shortened(f"{series.kind}, {series.revision}", LONGEST_SUBTITLE),
            "orange: a signal; dashed: limits from sessions before",
        ],
    )
    watch, days = series.watch, _days(series)
    individuals = _chart(days, watch.individuals, "mean load, N", INDIVIDUALS, natural=True)
    averages = _chart(days, watch.ewma, "EWMA, sd", AVERAGES)
    return _svg(alt.vconcat(individuals, averages, spacing=12).properties(title=title))


def residual_svg(calibration: Calibration, name: str) -> str:
    """Reading less line over check-weight force, rising and falling apart, in light colours.

    ``name`` is what readers may call the calibration.

    Forces are in percent of the greatest: in newtons, beside a mass that is a round number, they
    would give away the local gravity, and so the latitude.
    """
    line, readings = line_of(calibration), calibration.readings.all()
    greatest_N = max((reading.force_N for reading in readings), default=0.0) or 1.0
    rows = [
        {
            "force": 100 * reading.force_N / greatest_N,
            "residual": round(float(residual), RESIDUAL_PLACES),
            "direction": reading.direction,
        }
        for reading, residual in zip(readings, line.residuals, strict=True)
    ]
    data = alt.Data(values=rows)
    x = alt.X("force:Q", title="check weight, percent of the heaviest")
    y = alt.Y("residual:Q", title="reading less line, N", axis=alt.Axis(format="~g", tickCount=6))
    zero = alt.Chart(alt.Data(values=[{"y": 0}])).mark_rule(color=INK).encode(y="y:Q")
    layers = [zero]
    for direction, shape, colour in (
        (CalibrationReading.Direction.RISING, "circle", MARKED),
        (CalibrationReading.Direction.FALLING, "triangle-down", SIGNAL),
    ):
        points = alt.Chart(data).transform_filter(f"datum.direction == '{direction}'")
        marks = points.mark_point(shape=shape, filled=True, color=colour, size=70, opacity=1)
        layers.append(marks.encode(x=x, y=y))
    title = alt.TitleParams(
        "Residuals of the calibration",
        subtitle=[
            shortened(name, LONGEST_SUBTITLE),
            f"sd {round(line.residual_sd_N, RESIDUAL_PLACES):.2g} N",
            "circles: loading, triangles: unloading",
        ],
    )
    return _svg(alt.layer(*layers).properties(width=WIDTH, height=RESIDUALS, title=title))


def _days(series: Series) -> list[str]:
    """Days of the sessions, numbered if two fall on one."""
    days = [f"{point.session.pulled_on:%Y-%m-%d}" for point in series.points]
    return [
        f"{day} ({days[:place].count(day) + 1})" if days.count(day) > 1 else day
        for place, day in enumerate(days)
    ]


def _chart(
    days: Sequence[str], chart: ControlChart, title: str, height: int, *, natural: bool = False
) -> alt.LayerChart | alt.FacetChart:
    """One control chart; ``natural`` draws logarithms on the natural scale."""
    data = alt.Data(values=list(_rows(days, chart, natural=natural)))
    axis = alt.Axis(labelAngle=0, labelOverlap="greedy", grid=False)
    x = alt.X("day:N", sort=None, title=None, axis=axis)
    base = alt.Chart(data).encode(x=x)

    def y(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", title=title, scale=alt.Scale(zero=False))

    limits = [
        base.mark_line(color=MUTED, strokeDash=DASHES, interpolate="step").encode(y=y(end))
        for end in ("lower", "upper")
    ]
    centre = base.mark_line(color=INK, strokeWidth=1).encode(y=y("centre"))
    course = base.mark_line(color=MARKED).encode(y=y("value"))
    points = base.mark_point(filled=True, opacity=1).encode(
        y=y("value"),
        size=alt.condition("datum.signal", alt.value(170), alt.value(60)),
        color=alt.condition("datum.signal", alt.value(SIGNAL), alt.value(MARKED)),
        shape=alt.condition("datum.signal", alt.value("diamond"), alt.value("circle")),
    )
    return alt.layer(*limits, centre, course, points).properties(width=WIDTH, height=height)


def _rows(days: Sequence[str], chart: ControlChart, *, natural: bool) -> Iterator[dict[str, Any]]:
    columns = np.stack(
        [
            chart.plotted,
            chart.lower_limit,
            chart.upper_limit,
            np.full(chart.plotted.shape, chart.centre_line),
        ]
    )
    drawn = np.exp(columns) if natural else columns
    for place, day in enumerate(days):
        value, lower, upper, centre = drawn[:, place].tolist()
        yield {
            "day": day,
            "value": value,
            "lower": lower,
            "upper": upper,
            "centre": centre,
            "signal": place in chart.signals,
        }


def _svg(chart: alt.TopLevelMixin) -> str:
    drawn: str = vl_convert.vegalite_to_svg(chart.configure(**look()).to_dict(validate=False))
    return drawn
