"""Advice: what to improve in one's own tying, and what of it to pull again."""

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
class PullAgain:
    """A join of one's own to pull again: the difference that can be detected, now and after it."""

    pool: Pool
    detectable: float
    detectable_next: float

    @property
    def gain(self) -> float:
        """How much one more session lowers the detectable difference."""
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


def pull_again(
    compared_pools: Sequence[tuple[Pool, TesterVsPool]], most: int = 5
) -> list[PullAgain]:
    """Where one more session of one's own tells most of one's tying, by gain.

    Left out are pools in which one more session detects hardly more.
    """
    found = [
        PullAgain(pool, each.detectable, each.detectable_next)
        for pool, each in compared_pools
        if each.detectable is not None and each.detectable_next is not None
    ]
    gaining = [each for each in found if each.gain >= LEAST_GAIN * each.detectable]
    return sorted(gaining, key=lambda each: -each.gain)[:most]
