"""Advising: what of one's own tying to work on, and what to pull next for the most gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from results.models import Pool
from results.pools.tester_vs_pool import Standing

EVENNESS_AT = 0.05
"""Level of the F test at which scatter is called one's own; common practice, no source."""

Work = Literal["strength", "evenness", "rig", "unknown", "nothing"]


@dataclass(frozen=True)
class NextPull:
    """A join to pull next: what its least told difference is now and would be.

    ``told`` and ``told_next`` are None where the gain is a pooled figure that is not there yet.
    """

    pool: Pool
    told: float | None = None
    told_next: float | None = None

    @property
    def gain(self) -> float:
        """By how much one session more sharpens what is told; a first figure goes before all."""
        if self.told is None or self.told_next is None:
            return float("inf")
        return self.told - self.told_next


def work_on(standing: Standing) -> Work:
    """What to work on first, by what the figures can tell.

    A lower mean that is told apart comes first, then scatter beyond the others' of which more is
    the rig's than the tie's own or the reverse; where the split can't be told, that is 'unknown'.
    A part that can't be computed advises nothing.
    """
    comparison, scatter = standing.comparison, standing.scatter
    if comparison and comparison.differs and comparison.ratio < 1:
        return "strength"
    if scatter is None or scatter.ratio <= 1 or scatter.probability >= EVENNESS_AT:
        return "nothing"
    if standing.split is None:
        return "unknown"
    if standing.split.tying.low > 0:
        return "evenness"
    if standing.split.rig_and_line.variance > standing.split.tie.variance:
        return "rig"
    return "unknown"


def pull_next(
    standings: Sequence[tuple[Pool, Standing]], short: Sequence[Pool], most: int = 5
) -> list[NextPull]:
    """Where one more session gains most: pools short of one tester, then one's own by gain.

    A pool known too poorly to tell more by one's own sessions is left out.
    """
    found = [NextPull(pool) for pool in short]
    found += [
        NextPull(pool, each.told, each.told_next)
        for pool, each in standings
        if each.told is not None
    ]
    gaining = [each for each in found if each.gain > 0]
    return sorted(gaining, key=lambda each: -each.gain)[:most]
