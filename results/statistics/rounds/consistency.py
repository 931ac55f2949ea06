"""Repeatability, reproducibility, h and k of one sample, or why they can't be said.

ASTM E691 asks for six laboratories; its critical values are taken at 0.5 percent. It has all cells
full. Cells of unequal size are taken as ISO 5725-2 does, and one with a single result is left out
and named, as there. Neither standard knows a load that is only a lower bound: such a cell enters
with the mean and scatter of its lognormal fit and counts as many results as it has exact loads; it
is named, and left out where its own pulls give no scatter.
"""

from dataclasses import dataclass

import numpy as np

from results.statistics.errors import StatisticsError
from results.statistics.precision import h_critical, k_critical, precision_of_cells
from results.statistics.rounds.cells import Cell

LEAST_PARTICIPANTS = 6
ALPHA = 0.005


@dataclass(frozen=True)
class Consistency:
    """One participant's h and k with what each is held against."""

    participant: int
    h: float
    h_critical: float
    h_beyond: bool
    k: float
    k_critical: float
    k_beyond: bool


@dataclass(frozen=True)
class SamplePrecision:
    """Standard deviations in newtons; ``left_out`` and ``by_likelihood`` name participants."""

    participants: int
    results: int
    mean_N: float
    repeatability_sd_N: float
    between_sd_N: float
    reproducibility_sd_N: float
    each: tuple[Consistency, ...]
    left_out: tuple[int, ...]
    by_likelihood: tuple[int, ...]
    unequal: bool


def sample_precision(cells: tuple[Cell, ...]) -> SamplePrecision | str:
    """Precision of one sample from its cells, or the reason why there is none."""
    kept = [cell for cell in cells if cell.sd_N is not None]
    if len(kept) < LEAST_PARTICIPANTS:
        return (
            f"Repeatability, reproducibility, h and k need {LEAST_PARTICIPANTS} participants with "
            f"two results or more (ASTM E691): this sample has {len(kept)}."
        )
    sizes = np.array([cell.exact for cell in kept])
    try:
        found = precision_of_cells(
            tuple(str(cell.participant) for cell in kept),
            np.array([cell.mean_N for cell in kept]),
            np.array([cell.sd_N for cell in kept], dtype=float),
            sizes,
        )
    except StatisticsError as error:
        return f"Repeatability, reproducibility, h and k: {error}."
    h_limit, k_limits = h_critical(len(kept), ALPHA), k_critical(sizes, ALPHA)
    rows = zip(kept, found.h.tolist(), found.k.tolist(), k_limits.tolist(), strict=True)
    return SamplePrecision(
        participants=len(kept),
        results=found.results,
        mean_N=found.mean,
        repeatability_sd_N=found.repeatability_sd,
        between_sd_N=found.between_sd,
        reproducibility_sd_N=found.reproducibility_sd,
        each=tuple(
            Consistency(cell.participant, h, h_limit, abs(h) > h_limit, k, limit, k > limit)
            for cell, h, k, limit in rows
        ),
        left_out=tuple(cell.participant for cell in cells if cell.sd_N is None),
        by_likelihood=tuple(cell.participant for cell in kept if not cell.whole),
        unequal=bool(np.ptp(sizes)),
    )
