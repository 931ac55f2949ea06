"""Watching one rig by its straight line: the same line, session after session.

Logarithms of session means, charted as individuals and as EWMA (ISO 7870) around their weighted
mean. Limits come from the rig's own scatter: the coefficient of variation pooled over the
sessions, and what a line differs by from day to day. The slope is that of least squares on the
session's number, with Student's t.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from rigs.metrology.charts import ControlChart, ewma_chart, individuals_chart
from rigs.metrology.errors import NoScatter, NotFinite, NotPositive, TooFewValues, UnequalLengths

DAY_TO_DAY_CV = 0.01
"""What one line's mean differs by from day to day on an unchanged rig (common practice)."""


@dataclass(frozen=True)
class Change:
    """A relative change in percent with its 95 percent interval."""

    percent: float
    lower: float
    upper: float


@dataclass(frozen=True)
class StraightLineWatch:
    """Charts of log means (individuals) and of standardised ones (ewma); changes since the first.

    `per_session` is the mean change from one session to the next, None for two sessions.
    """

    individuals: ControlChart
    ewma: ControlChart
    since_first: tuple[Change, ...]
    per_session: Change | None

    @property
    def signals(self) -> tuple[int, ...]:
        return tuple(sorted({*self.individuals.signals, *self.ewma.signals}))


def watch_straight_line(mean_N: ArrayLike, cv: ArrayLike, n: ArrayLike) -> StraightLineWatch:
    """Chart k sessions in order of time: mean load in newtons, CV and number of straight pulls.

    Raises UnequalLengths, TooFewValues (fewer than two sessions, or two pulls in one), NotFinite,
    NotPositive (a mean) and NoScatter.
    """
    means, cvs, counts = (np.asarray(column, float).ravel() for column in (mean_N, cv, n))
    _check(means, cvs, counts)
    df = float((counts - 1).sum())
    pooled = float((counts - 1) @ cvs**2) / df
    variances = pooled / counts + DAY_TO_DAY_CV**2
    logs = np.log(means)
    centre = float(np.average(logs, weights=1 / variances))
    sd = np.sqrt(variances)
    return StraightLineWatch(
        individuals_chart(logs, centre, sd),
        ewma_chart((logs - centre) / sd, 0.0, 1.0),
        tuple(_since_first(logs, variances, df)),
        _per_session(logs) if logs.size > 2 else None,
    )


def _since_first(
    logs: NDArray[np.float64], variances: NDArray[np.float64], df: float
) -> list[Change]:
    t = float(stats.t.ppf(0.975, df))
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


def _check(
    means: NDArray[np.float64], cvs: NDArray[np.float64], counts: NDArray[np.float64]
) -> None:
    if not means.size == cvs.size == counts.size:
        raise UnequalLengths(f"{means.size} means, {cvs.size} cvs, {counts.size} counts")
    if means.size < 2 or (counts < 2).any():
        raise TooFewValues("expected at least two sessions of at least two straight pulls each")
    if not (np.isfinite(means).all() and np.isfinite(cvs).all() and np.isfinite(counts).all()):
        raise NotFinite("a mean, cv or count is not a finite number")
    if (means <= 0).any() or (cvs < 0).any():
        raise NotPositive("every mean load must be above zero and no cv below")
    if not (cvs > 0).any():
        raise NoScatter("all pulls of each session are alike: a finer resolution is needed")
