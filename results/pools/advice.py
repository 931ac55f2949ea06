"""Advice: what to improve in one's own tying, and what to pull next for the largest gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from results.models import Pool
from results.pools.tester_vs_pool import TesterVsPool

EVENNESS_AT = 0.05
"""Level of the F test at which scatter is called one's own; common practice, no source."""

LEAST_GAIN = 0.05
"""Share of the detectable difference that a session must take off it to be advised; common
practice, no source."""

Work = Literal["strength", "evenness", "rig", "unknown", "nothing"]


@dataclass(frozen=True)
class NextPull:
    """A join to pull next: the difference that can be detected now, and after one more session.

    ``detectable`` and ``detectable_next`` are None where the gain is a pooled figure that is not
    there yet.
    """

    pool: Pool
    detectable: float | None = None
    detectable_next: float | None = None

    @property
    def gain(self) -> float:
        """How much one more session lowers the detectable difference; infinite for a new figure."""
        if self.detectable is None or self.detectable_next is None:
            return float("inf")
        return self.detectable - self.detectable_next


def work_on(compared: TesterVsPool) -> Work:
    """What to work on first, as far as the figures show.

    A significantly lower mean comes first, then scatter beyond the others' of which more is
    the rig's than the tie's own or the reverse; if the split can't be estimated, that is 'unknown'.
    A part that can't be computed advises nothing.
    """
    comparison, scatter = compared.comparison, compared.scatter
    if comparison and comparison.differs and comparison.ratio < 1:
        return "strength"
    if scatter is None or scatter.ratio <= 1 or scatter.probability >= EVENNESS_AT:
        return "nothing"
    if compared.split is None:
        return "unknown"
    if compared.split.tying.low > 0:
        return "evenness"
    if compared.split.rig_and_line.variance > compared.split.tie.variance:
        return "rig"
    return "unknown"


def pull_next(
    compared_pools: Sequence[tuple[Pool, TesterVsPool]], short: Sequence[Pool], most: int = 5
) -> list[NextPull]:
    """Where one more session gains most: pools short of one tester, then one's own by gain.

    Left out are pools in which one more of one's own sessions detects hardly more.
    """
    found = [NextPull(pool) for pool in short]
    found += [
        NextPull(pool, each.detectable, each.detectable_next)
        for pool, each in compared_pools
        if each.detectable is not None
    ]
    gaining = [
        each
        for each in found
        if each.detectable is None or each.gain >= LEAST_GAIN * each.detectable
    ]
    return sorted(gaining, key=lambda each: -each.gain)[:most]
