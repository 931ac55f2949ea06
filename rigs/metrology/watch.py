"""Watching one rig by its straight line: the same line, session after session.

Logarithms of session means, charted as individuals and as EWMA (ISO 7870), each session against
the weighted mean of those before it (self-starting, Hawkins 1987, The Statistician 36:299). Limits
come from the rig's own scatter from day to day, shrunk to that of all rigs (`day_to_day.py`), and
Student's t on its degrees of freedom: for a single session by what was known before it, so that a
step doesn't widen its own limits, and for the average by all. Changes since the first are judged
together (Dunnett 1955). The slope is that of least squares on the session's number, with Student's
t.

How often a steady rig signals in twenty sessions, and how often a shift of two standard deviations
of a session, or a single session that is wrong by seven, is found; percent, by the rig's standard
deviation from day to day (1 percent is usual) and the law of its days (4,000 rigs each, Monte Carlo
error 0.1 to 0.8). Beside it what was tried for rigs whose single days stand far apart: limits of a
session by no more than six degrees of freedom, always, or where a rig scatters more than all do.

                     here              always            where more
    1, normal        0.3  60  85       0.3  60  24       0.3  60  59
    1, t4            0.9  61  86       0.5  60  23       0.8  61  60
    1.5, t4          2.6  69  90       1.2  68  38       2.2  68  54
    3, normal        3.4  77  96       2.2  76  60       2.8  76  60
    3, t4            10.9 79  95       4.4  78  65       6.2  78  66

The limits stay as they are: on a usual rig wider ones miss three wrong days in four, and a rig of
far tails signals at days that do stand apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from rigs.metrology.charts import ControlChart, ewma_chart
from rigs.metrology.day_to_day import Scatter, check_sessions, usual_variances
from rigs.metrology.errors import UnequalLengths
from rigs.metrology.many_to_one import many_to_one_quantile

OF_ONE_SESSION = 0.0002
"""Chance that a steady rig's session is outside the limits of the individuals."""
OF_THE_AVERAGE = 0.0012
"""The same for the average."""
WEIGHT = 0.2
"""Of the newest session in the average."""


@dataclass(frozen=True)
class Change:
    """A relative change in percent with its 95 percent interval."""

    percent: float
    lower: float
    upper: float


@dataclass(frozen=True)
class StraightLineWatch:
    """Charts of log means (individuals) and of standardised ones (ewma); changes since the first.

    The intervals of `since_first` hold together. `per_session` is the mean change from one session
    to the next, None for two sessions.
    """

    individuals: ControlChart
    ewma: ControlChart
    since_first: tuple[Change, ...]
    per_session: Change | None

    @property
    def signals(self) -> tuple[int, ...]:
        return tuple(sorted({*self.individuals.signals, *self.ewma.signals}))


def watch_straight_line(
    mean_N: ArrayLike,
    cv: ArrayLike,
    n: ArrayLike,
    scatter: Scatter,
    before: Sequence[Scatter],
) -> StraightLineWatch:
    """Chart k sessions in order of time: mean load in newtons, CV and number of straight pulls.

    ``scatter`` is the rig's by all its sessions, ``before`` (k,) what was known before each. Raises
    as `check_sessions`, and UnequalLengths.
    """
    check_sessions(mean_N, cv, n)
    logs, variances = np.log(np.asarray(mean_N, float).ravel()), usual_variances(cv, n)
    if len(before) != logs.size:
        raise UnequalLengths(f"{logs.size} sessions, {len(before)} scatters before them")
    expected, spread = _expected(logs, variances)
    factors = np.array([each.factor for each in before])
    freedom = np.array([each.degrees_of_freedom for each in before])
    half = stats.t.isf(OF_ONE_SESSION / 2, freedom) * np.sqrt(factors * spread)
    centre = float(np.average(logs, weights=1 / variances))
    residuals = (logs[1:] - expected[1:]) / np.sqrt(scatter.factor * spread[1:])
    return StraightLineWatch(
        ControlChart(logs, centre, expected - half, expected + half),
        _from_the_second(residuals, scatter.degrees_of_freedom),
        tuple(_since_first(logs, scatter.factor * variances, scatter.degrees_of_freedom)),
        _per_session(logs) if logs.size > 2 else None,
    )


def _expected(
    logs: NDArray[np.float64], variances: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean of the sessions before each and the usual variance about it; the first's is its own."""
    known = np.cumsum(1 / variances)
    means = np.cumsum(logs / variances) / known
    expected = np.concatenate([logs[:1], means[:-1]])
    spread = variances + np.concatenate([variances[:1], 1 / known[:-1]])
    return expected, spread


def _from_the_second(residuals: NDArray[np.float64], degrees_of_freedom: float) -> ControlChart:
    """EWMA of the residuals; the first session has none and lies on the centre line."""
    width = float(stats.t.isf(OF_THE_AVERAGE / 2, degrees_of_freedom))
    chart = ewma_chart(residuals, 0.0, 1.0, weight=WEIGHT, width=width)
    plotted, lower, upper = (
        np.concatenate([[0.0], column])
        for column in (chart.plotted, chart.lower_limit, chart.upper_limit)
    )
    return ControlChart(plotted, chart.centre_line, lower, upper)


def _since_first(
    logs: NDArray[np.float64], variances: NDArray[np.float64], degrees_of_freedom: float
) -> list[Change]:
    t = many_to_one_quantile(variances[1:], float(variances[0]), degrees_of_freedom)
    standard_errors = np.sqrt(variances[1:] + variances[0])
    return [
        _change(difference, t * se)
        for difference, se in zip(logs[1:] - logs[0], standard_errors, strict=True)
    ]


def _per_session(logs: NDArray[np.float64]) -> Change:
    places = np.arange(logs.size) - (logs.size - 1) / 2
    squares = float(places @ places)
    slope = float(places @ logs) / squares
    left = logs - logs.mean() - slope * places
    standard_error = np.sqrt(float(left @ left) / (logs.size - 2) / squares)
    return _change(slope, float(stats.t.ppf(0.975, logs.size - 2) * standard_error))


def _change(log_change: float, half: float) -> Change:
    percent = 100 * np.expm1([log_change, log_change - half, log_change + half])
    return Change(*percent.tolist())
