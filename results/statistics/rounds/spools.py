"""Whether each spool of a round was the same for everybody, by the organiser's own pulls."""

from dataclasses import dataclass

import numpy as np

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
NOT_PULLED = "No pulls of this spool before the round were entered, so nothing is known of it."
ONE_PIECE = (
    "One piece of the spool was pulled: whether it was alike all through needs two or more, cut "
    "along it."
)
NO_REPEATS = (
    "Every piece of the spool was pulled once, so the scatter within a piece isn't known: two "
    "lengths of a piece are needed."
)
NOT_AGAIN = "The spool wasn't pulled again after the round."
NOTHING_BEFORE = "The pulls after the round have none before it to be set against."


@dataclass(frozen=True)
class SpoolReport:
    """Figures in newtons; ``alike`` and ``stable`` are None where the reasons beside them say why.

    ``limit_N`` is 0.3 of the standard deviation for assessment, and ``pulls_at_end`` how many pulls
    ``mean_at_end_N`` is of.
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
    pulls_at_end: int = 0
    mean_at_end_N: float | None = None


def spool_report(pulls: SpoolPulls, sigma_relative: float | None) -> SpoolReport:
    """What the organiser's pulls of one spool say, ``sigma_relative`` being of the round."""
    every = [load for one in pulls.lengths for load in one]
    mean = float(np.mean(every)) if every else None
    sigma = None if mean is None or sigma_relative is None else sigma_relative * mean
    why_not = _why_not(pulls, sigma)
    found = None if why_not or sigma is None else homogeneity(pulls.lengths, sigma)
    alike, why_not_alike = (None, why_not) if found is None else _verdict(found)
    mean_at_end = float(np.mean(pulls.at_end)) if pulls.at_end else None
    at_end = (
        None
        if mean is None or sigma is None or mean_at_end is None
        else stability(mean, mean_at_end, sigma)
    )
    return SpoolReport(
        spool=pulls.spool,
        lengths=len(pulls.lengths),
        mean_N=mean,
        between_lengths_sd_N=None if found is None else found.s_s,
        within_lengths_sd_N=None if found is None else found.s_w,
        limit_N=None if found is None else found.limit,
        expanded_limit_N=None if found is None else found.expanded_limit,
        alike=alike,
        why_not_alike=why_not_alike,
        difference_at_end_N=None if at_end is None else at_end.difference,
        stable=None if at_end is None else at_end.stable,
        why_not_stable="" if at_end else _why_not_stable(pulls, mean),
        pulls_at_end=len(pulls.at_end),
        mean_at_end_N=mean_at_end,
    )


def _why_not(pulls: SpoolPulls, sigma: float | None) -> str:
    """Why it can't be said whether a spool was alike; empty where it can."""
    if not pulls.lengths:
        return NOT_PULLED
    if sigma is None:
        return NO_SIGMA
    if len(pulls.lengths) < 2:
        return ONE_PIECE
    return NO_REPEATS if all(len(one) < 2 for one in pulls.lengths) else ""


def _why_not_stable(pulls: SpoolPulls, mean: float | None) -> str:
    if not pulls.at_end:
        return NOT_AGAIN
    return NOTHING_BEFORE if mean is None else NO_SIGMA


def _verdict(found: Homogeneity) -> tuple[bool | None, str]:
    """A spool is called alike from ten lengths on, and unlike wherever even few lengths show it."""
    if not found.not_disproved:
        return False, ""
    if found.items < LEAST_ITEMS:
        return None, (
            f"{found.items} pieces were pulled: {LEAST_ITEMS} are needed to call the spool alike "
            "(ISO 13528)."
        )
    return True, ""
