"""Whether each spool of a round was the same for everybody, by the organiser's own pulls."""

from dataclasses import dataclass

import numpy as np

from results.statistics.errors import StatisticsError
from results.statistics.rounds.homogeneity import (
    LEAST_ITEMS,
    Homogeneity,
    homogeneity,
    stability,
)
from results.statistics.rounds.observations import SpoolPulls

NO_SIGMA = (
    "Whether the spool was alike is judged by the standard deviation for assessment: none was "
    "declared, and the round's samples give no robust one."
)


@dataclass(frozen=True)
class SpoolReport:
    """Figures in newtons; ``alike`` and ``stable`` are None where the reasons beside them say why.

    ``limit_N`` is 0.3 of the standard deviation for assessment.
    """

    spool: int
    lengths: int
    mean_N: float | None
    between_lengths_sd_N: float | None
    within_lengths_sd_N: float | None
    limit_N: float | None
    expanded_limit_N: float | None
    alike: bool | None
    why_not_alike: str
    difference_at_end_N: float | None
    stable: bool | None
    why_not_stable: str


def spool_report(pulls: SpoolPulls, sigma_relative: float | None) -> SpoolReport:
    """What the organiser's pulls of one spool say, ``sigma_relative`` being of the round."""
    if sigma_relative is None:
        return _without(pulls, NO_SIGMA, NO_SIGMA)
    if len({len(one) for one in pulls.lengths}) > 1:
        return _without(pulls, "Every length of the spool needs as many pulls as the others.", "")
    every = [load for one in pulls.lengths for load in one]
    sigma = sigma_relative * float(np.mean(every)) if every else sigma_relative
    try:
        found = homogeneity(pulls.lengths, sigma)
    except StatisticsError as error:
        return _without(pulls, f"Homogeneity: {error}.", "")
    if not pulls.at_end:
        difference, stable, why = None, None, "The spool wasn't pulled again after the round."
    else:
        at_end = stability(found.mean, float(np.mean(pulls.at_end)), sigma)
        difference, stable, why = at_end.difference, at_end.stable, ""
    alike, why_not = _verdict(found)
    return SpoolReport(
        spool=pulls.spool,
        lengths=found.items,
        mean_N=found.mean,
        between_lengths_sd_N=found.s_s,
        within_lengths_sd_N=found.s_w,
        limit_N=found.limit,
        expanded_limit_N=found.expanded_limit,
        alike=alike,
        why_not_alike=why_not,
        difference_at_end_N=difference,
        stable=stable,
        why_not_stable=why,
    )


def _verdict(found: Homogeneity) -> tuple[bool | None, str]:
    """A spool is called alike from ten lengths on, and unlike wherever even few lengths show it."""
    if not found.not_disproved:
        return False, ""
    if found.items < LEAST_ITEMS:
        return None, (
            f"{found.items} lengths were pulled: {LEAST_ITEMS} are needed to call the spool alike "
            "(ISO 13528)."
        )
    return True, ""


def _without(pulls: SpoolPulls, why_not_alike: str, why_not_stable: str) -> SpoolReport:
    return SpoolReport(
        spool=pulls.spool,
        lengths=len(pulls.lengths),
        mean_N=None,
        between_lengths_sd_N=None,
        within_lengths_sd_N=None,
        limit_N=None,
        expanded_limit_N=None,
        alike=None,
        why_not_alike=why_not_alike,
        difference_at_end_N=None,
        stable=None,
        why_not_stable=why_not_stable or why_not_alike,
    )
