"""Where the uncertainty of a load and of an efficiency comes from: what to improve first.

Vocabulary of the GUM (JCGM 100:2008): source, evaluation of type A or B, standard uncertainty,
sensitivity, contribution; combined by the law of propagation (5.1.2), effective degrees of
freedom by Welch and Satterthwaite (G.4). The resolution of a scale counts by itself only where
the scatter is too small to show it (F.2.2.1).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from math import hypot, inf, isfinite, sqrt
from typing import Literal

from scipy import stats

from rigs.metrology.calibration import CalibrationLine
from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues

UNCALIBRATED_ZERO_SHARE = 0.01
"""Half width of the zero error of a rig never calibrated, of its capacity (common practice)."""


class Cause(StrEnum):
    """What a source of uncertainty comes from, and so what would make it smaller."""

    TYING = "tying"
    BASELINE = "baseline"
    ZERO = "zero"
    GAIN = "gain"
    RESOLUTION = "resolution"
    SCATTER = "scatter"
    CALIBRATION = "calibration"
    ZERO_OF_PULLS = "zero of pulls"
    SAMPLING = "sampling"


@dataclass(frozen=True)
class BudgetRow:
    """One source: standard uncertainty (in `unit`), sensitivity, and their product's size.

    `source` names it to people. `df` is infinite for a type B evaluation taken as certain.
    """

    cause: Cause
    source: str
    evaluation: Literal["A", "B"]
    standard_uncertainty: float
    unit: str
    sensitivity: float
    df: float = inf

    @property
    def contribution(self) -> float:
        """In the unit of the result: newtons for a load, a pure number for an efficiency."""
        return abs(self.sensitivity) * self.standard_uncertainty


@dataclass(frozen=True)
class Budget:
    """A result with its rows; the largest contribution is what to improve first."""

    value: float
    rows: tuple[BudgetRow, ...]

    @property
    def combined(self) -> float:
        """Combined standard uncertainty of the value."""
        return hypot(*(row.contribution for row in self.rows))

    @property
    def effective_df(self) -> float:
        """Welch and Satterthwaite (GUM G.2b)."""
        parts = sum(row.contribution**4 / row.df for row in self.rows)
        return self.combined**4 / parts if parts > 0 else inf

    @property
    def expanded(self) -> float:
        """Half width of the 95 percent interval of the value (GUM G.3)."""
        return float(stats.t.ppf(0.975, self.effective_df)) * self.combined

    @property
    def improve_first(self) -> BudgetRow:
        return max(self.rows, key=lambda row: row.contribution)


@dataclass(frozen=True)
class Pulls:
    """Mean load in newtons of n pulls and their coefficient of variation, known with df."""

    mean_N: float
    cv: float
    n: float
    df: float


@dataclass(frozen=True)
class CommonErrors:
    """Errors in newtons of load that the pulls of a series have in common, by their traces.

    ``zero_N`` is the mean zero that was read without load, with its sign; ``missed_N`` the root
    mean square of what the highest sample lacks of the peak.
    """

    zero_N: float
    missed_N: float


def load_budget(
    line: CalibrationLine, reading_N: float, resolution_N: float, readings: int = 1
) -> Budget:
    """Budget in newtons of the load behind the mean of `readings` readings.

    Raises NotFinite, NotPositive (resolution) and TooFewValues.
    """
    if not isfinite(reading_N):
        raise NotFinite(f"reading: found {reading_N}, expected a finite number")
    _check_resolution(resolution_N)
    if readings < 1:
        raise TooFewValues(f"found {readings} readings, expected at least one")
    per_reading, load = 1 / line.gain, float(line.load(reading_N))
    scatter = line.residual_sd_N / sqrt(readings)
    u_line = sqrt(
        max(0.0, float(line.u_load(reading_N)) ** 2 - (line.residual_sd_N / line.gain) ** 2)
    )
    rows = [
        BudgetRow(Cause.SCATTER, "scatter of readings", "A", scatter, "N", per_reading, line.df),
        BudgetRow(
            Cause.CALIBRATION, "calibration line: gain and zero", "A", u_line, "N", 1.0, line.df
        ),
    ]
    if _unseen(resolution_N, line.residual_sd_N):
        rows.append(
            BudgetRow(
                Cause.RESOLUTION, "resolution", "B", resolution_N / sqrt(12), "N", per_reading
            )
        )
    return Budget(load, tuple(rows))


def efficiency_budget(
    joined: Pulls,
    straight: Pulls,
    u_zero_N: float,
    resolution_N: float,
    u_gain: float = 0.0,
    zero_evaluation: Literal["A", "B"] = "A",
    zero_df: float = inf,
    traced: tuple[CommonErrors, CommonErrors] | None = None,
) -> Budget:
    """Budget of mean joined load over mean straight load.

    `u_zero_N` is the standard uncertainty of the scale's zero as a load, u(offset)/gain;
    `u_gain` is relative. The gain cancels, the zero does not: its sensitivity is
    1/straight - joined/straight^2. `traced` are the errors that the traces of joined and of
    straight pulls show: a peak that is missed by up to r d, r the loading rate and d the time
    between two samples, is off by r d/sqrt(3) about zero (rectangular, GUM 4.3.7). Where both
    series were recorded alike they cancel up to the difference of their shares of the load.
    Raises NotFinite, NotPositive and TooFewValues.
    """
    _check_pulls("joined", joined)
    _check_pulls("straight", straight)
    _check_resolution(resolution_N)
    ratio = joined.mean_N / straight.mean_N
    by_joined, by_straight = 1 / straight.mean_N, -ratio / straight.mean_N
    by_zero = by_joined + by_straight
    rows = [
        BudgetRow(
            Cause.TYING,
            "tying: scatter of joined pulls",
            "A",
            _u_mean(joined),
            "N",
            by_joined,
            joined.df,
        ),
        BudgetRow(
            Cause.BASELINE,
            "baseline: scatter of straight pulls",
            "A",
            _u_mean(straight),
            "N",
            by_straight,
            straight.df,
        ),
        BudgetRow(
            Cause.ZERO, "zero of the scale", zero_evaluation, u_zero_N, "N", by_zero, zero_df
        ),
        BudgetRow(Cause.GAIN, "gain of the scale, which cancels", "A", u_gain, "1", 0.0),
        *_resolution_rows(joined, straight, resolution_N, (by_joined, by_straight)),
        *(_traced_rows(*traced, (by_joined, by_straight)) if traced else ()),
    ]
    return Budget(ratio, tuple(rows))


def uncalibrated_zero(resolution_N: float, capacity_N: float) -> float:
    """Standard uncertainty in newtons of the zero of a rig that was never calibrated, type B.

    Rectangular (GUM 4.3.7) within one step or one percent of the capacity, whichever is more
    (common practice, no source).
    """
    _check_resolution(resolution_N)
    return max(resolution_N, UNCALIBRATED_ZERO_SHARE * capacity_N) / sqrt(3)


def _u_mean(pulls: Pulls) -> float:
    return pulls.cv * pulls.mean_N / sqrt(pulls.n)


def _resolution_rows(
    joined: Pulls, straight: Pulls, resolution_N: float, sensitivities: tuple[float, float]
) -> Iterator[BudgetRow]:
    for name, pulls, by in zip(
        ("joined", "straight"), (joined, straight), sensitivities, strict=True
    ):
        if _unseen(resolution_N, pulls.cv * pulls.mean_N):
            yield BudgetRow(
                Cause.RESOLUTION, f"resolution, {name} pulls", "B", resolution_N / sqrt(12), "N", by
            )


def _traced_rows(
    joined: CommonErrors, straight: CommonErrors, sensitivities: tuple[float, float]
) -> Iterator[BudgetRow]:
    """What is left of each error once that of the one series is set against the other's."""
    by_joined, by_straight = sensitivities
    for cause, source, of_joined, of_straight in (
        (Cause.ZERO_OF_PULLS, "zero before and after each pull", joined.zero_N, straight.zero_N),
        (Cause.SAMPLING, "peaks missed between two samples", joined.missed_N, straight.missed_N),
    ):
        left = abs(by_joined * of_joined + by_straight * of_straight)
        yield BudgetRow(cause, source, "B", left, "1", 1.0)


def _unseen(resolution_N: float, sd_N: float) -> bool:
    """Whether readings scatter too little for rounding to show in their scatter."""
    return sd_N < resolution_N / 2


def _check_resolution(resolution_N: float) -> None:
    if not (isfinite(resolution_N) and resolution_N > 0):
        raise NotPositive(f"resolution: found {resolution_N} N, expected more than zero")


def _check_pulls(name: str, pulls: Pulls) -> None:
    if not (isfinite(pulls.mean_N) and isfinite(pulls.cv)):
        raise NotFinite(f"{name} pulls: mean {pulls.mean_N}, cv {pulls.cv}, expected numbers")
    if pulls.mean_N <= 0 or pulls.cv < 0 or pulls.df <= 0:
        raise NotPositive(f"{name} pulls: found {pulls}, expected mean, cv and df above zero")
    if pulls.n < 1:
        raise TooFewValues(f"{name} pulls: found {pulls.n}, expected at least one")
