"""What the sets of a pool come to, from their columns alone: no queries, nothing stored."""

from __future__ import annotations

from dataclasses import dataclass

from results.members import LogRatios, Members, log_ratios
from results.statistics.errors import StatisticsError
from results.statistics.pooling import Pooled, pool


@dataclass(frozen=True)
class Outcome:
    """What the members of a pool come to: a pooled figure, or why there is none."""

    ratios: LogRatios | None
    pooled: Pooled | None
    no_figure: str = ""


def pooled_from(members: Members) -> Outcome:
    """Pool the members, or say why they can't be pooled."""
    try:
        ratios = log_ratios(members)
    except StatisticsError as error:
        return Outcome(None, None, str(error))
    try:
        pooled = pool(
            ratios.y,
            ratios.own_variance,
            ratios.shared_variance,
            members.tester,
            members.session,
            members.baseline,
        )
    except StatisticsError as error:
        return Outcome(ratios, None, str(error))
    return Outcome(ratios, pooled)
