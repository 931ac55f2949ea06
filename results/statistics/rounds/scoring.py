"""The assigned value of a sample and everybody's scores against it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from results.statistics.errors import NoScatter, StatisticsError
from results.statistics.robust import RobustMean, algorithm_a
from results.statistics.rounds.cells import CellsOfSample
from results.statistics.rounds.scores import Score, scored

LEAST_PARTICIPANTS = 3
WIDE_BELOW = 10


@dataclass(frozen=True)
class Assigned:
    """The round's value of one sample by Algorithm A, and what scores are divided by.

    ``sigma_N`` is the declared standard deviation for assessment, or the robust one. ``caution``
    is empty from ten participants on.
    """

    participants: int
    value_N: float
    robust_sd_N: float
    standard_uncertainty_N: float
    sigma_N: float
    sigma_declared: bool
    caution: str


def assigned_value(sample: CellsOfSample, sigma_relative: float | None) -> Assigned | str:
    """The assigned value from the participants' means, or the reason why there is none.

    Where nearly all read alike, what the standard deviation was declared to be still scores them.
    """
    p = len(sample.cells)
    if p < LEAST_PARTICIPANTS:
        return f"A robust mean needs {LEAST_PARTICIPANTS} participants: this sample has {p}."
    means_N = [cell.mean_N for cell in sample.cells]
    try:
        found = algorithm_a(means_N)
    except NoScatter as error:
        if sigma_relative is None:
            return f"Robust mean: {error}."
        found = RobustMean(float(np.median(means_N)), 0.0, 0.0)
    except StatisticsError as error:
        return f"Robust mean: {error}."
    caution = ""
    if p < WIDE_BELOW:
        caution = (
            f"{p} participants, fewer than {WIDE_BELOW}: the round's value is itself uncertain, "
            "by the standard uncertainty beside it."
        )
    declared = sigma_relative is not None
    return Assigned(
        participants=p,
        value_N=found.mean,
        robust_sd_N=found.sd,
        standard_uncertainty_N=found.standard_uncertainty,
        sigma_N=found.mean * sigma_relative if sigma_relative is not None else found.sd,
        sigma_declared=declared,
        caution=caution,
    )


def scores(
    sample: CellsOfSample, assigned: Assigned, reading_uncertainty: Mapping[int, float]
) -> tuple[Score, ...]:
    """Scores of every participant with a result.

    u(x) for zeta is the pulls' and the stated uncertainty of the participant's readings together;
    who states none has no zeta.
    """
    found = []
    for cell in sample.cells:
        stated = reading_uncertainty.get(cell.participant)
        u_value = None
        if stated is not None and sample.log_sd is not None:
            u_value = cell.mean_N * float(np.hypot(stated, sample.log_sd / np.sqrt(cell.worth)))
        found.append(
            scored(
                cell.participant,
                cell.mean_N,
                assigned.value_N,
                assigned.standard_uncertainty_N,
                assigned.sigma_N,
                u_value,
            )
        )
    return tuple(found)
