"""Results that stand apart, as flags: Cochran on scatters, Grubbs on averages (ISO 5725-2, 7.3).

Beyond the 5 percent point a result is a straggler, beyond the 1 percent point an outlier. A flag
asks for a look at the bench book; it never removes a result.
"""

from dataclasses import dataclass
from typing import Literal

from results.statistics.errors import StatisticsError
from results.statistics.outliers import DoubleOutlier, cochran_unequal, double_grubbs, grubbs
from results.statistics.rounds.cells import Cell

STRAGGLER, OUTLIER = 0.05, 0.01
LEAST_FOR_TWO = 4
Test = Literal["cochran", "grubbs", "double grubbs"]


@dataclass(frozen=True)
class Flag:
    """Who stands apart by which test, and whether beyond its 5 or its 1 percent point."""

    test: Test
    participants: tuple[int, ...]
    statistic: float
    percent: Literal[1, 5]


def flags(cells: tuple[Cell, ...]) -> tuple[Flag, ...]:
    """Flags among the cells of one sample; a test for which they are too few raises none."""
    return (*_scatter_flags(cells), *_mean_flags(cells))


def _scatter_flags(cells: tuple[Cell, ...]) -> list[Flag]:
    scattered = [(cell, cell.sd_N) for cell in cells if cell.sd_N is not None]
    try:
        found = cochran_unequal([sd for _, sd in scattered], [cell.exact for cell, _ in scattered])
    except StatisticsError:
        return []
    who = (scattered[found.index][0].participant,)
    return _flagged("cochran", who, found.statistic, found.probability)


def _mean_flags(cells: tuple[Cell, ...]) -> list[Flag]:
    means = [cell.mean_N for cell in cells]
    try:
        one = grubbs(means)
    except StatisticsError:
        return []
    single = _flagged("grubbs", (cells[one.index].participant,), one.statistic, one.probability)
    if single or len(cells) < LEAST_FOR_TWO:
        return single
    try:
        pairs = double_grubbs(means)
    except StatisticsError:
        return []
    return [flag for pair in pairs for flag in _flagged_pair(cells, pair)]


def _flagged(test: Test, who: tuple[int, ...], statistic: float, probability: float) -> list[Flag]:
    if probability >= STRAGGLER:
        return []
    return [Flag(test, who, statistic, 1 if probability < OUTLIER else 5)]


def _flagged_pair(cells: tuple[Cell, ...], pair: DoubleOutlier) -> list[Flag]:
    if pair.statistic >= pair.critical_5_percent:
        return []
    first, second = pair.indices
    who = (cells[first].participant, cells[second].participant)
    percent: Literal[1, 5] = 1 if pair.statistic < pair.critical_1_percent else 5
    return [Flag("double grubbs", who, pair.statistic, percent)]
