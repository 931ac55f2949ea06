"""What other testers find of the same: of a pool, and of the scatter of a join.

By medians and robust scales over testers: one account can't make another's session look odd.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.models import NormalisedSet, Session
from results.models.lifecycle import COUNTING
from results.pools.pool_data import Members
from results.screening.thresholds import tuned
from results.statistics.screening.usual import (
    LEAST_TESTERS,
    Usual,
    by_tester,
    usual_among,
    usual_cv,
)

USUAL_CV_JOINED, USUAL_CV_STRAIGHT = 0.04, 0.02
"""Until a pool has a better estimate: the least scatter of good joins and of straight nylon (common
practice, no source)."""

MOST_SETS = 2000
"""Sets of a join, the newest, that say how it scatters: more would make it no surer."""


@dataclass(frozen=True)
class PoolOfOthers:
    """A pool without the tester under screening; ``usual`` is None below three other testers.

    ``cv_join`` and ``cv_baseline`` are the scatter of other testers' sets and of their straight
    line: in this pool, or below three testers wherever they tied the same join, or where none
    did the least that is known.
    """

    members: Members
    usual: Usual | None
    cv_join: float
    cv_baseline: float

    def prediction_sd(self, usual: Usual, normalised: NormalisedSet) -> float:
        """Of a new tester's next set like this one, on the log scale."""
        sampling = (
            self.cv_join**2 / normalised.n_effective
            + self.cv_baseline**2 / normalised.baseline_n_effective
        )
        return float(np.sqrt(usual.sd**2 + sampling))


def pool_of_others(pool_id: int, members: Members, session: Session) -> PoolOfOthers:
    """What the pool says without the tester of a session."""
    others = members.without_tester(session.contributor_id)
    if np.unique(others.tester).size < LEAST_TESTERS:
        return PoolOfOthers(others, None, *_scatter_anywhere(pool_id, session))
    ratios = np.log(others.mean_N / others.baseline_mean_N)
    return PoolOfOthers(
        others,
        tuned(usual_among)(by_tester(ratios, others.tester)),
        usual_cv(others.cv, others.degrees_of_freedom, others.tester) or USUAL_CV_JOINED,
        usual_cv(others.baseline_cv, others.baseline_degrees_of_freedom, others.tester)
        or USUAL_CV_STRAIGHT,
    )


def _scatter_anywhere(pool_id: int, session: Session) -> tuple[float, float]:
    """CV of joined and of straight pulls where other testers tied the join of this pool."""
    rows = (
        NormalisedSet.objects.filter(pool__connection__pools=pool_id, pull_set__state__in=COUNTING)
        .exclude(pull_set__session__contributor=session.contributor_id)
        .order_by("-pull_set_id")
        .values_list(
            "pull_set__session__contributor_id",
            "cv",
            "degrees_of_freedom",
            "baseline_cv",
            "baseline_degrees_of_freedom",
        )
    )
    found = list(rows[:MOST_SETS])
    if not found:
        return USUAL_CV_JOINED, USUAL_CV_STRAIGHT
    tester, cv, freedom, straight_cv, straight_freedom = zip(*found, strict=True)
    return (
        usual_cv(cv, freedom, tester) or USUAL_CV_JOINED,
        usual_cv(straight_cv, straight_freedom, tester) or USUAL_CV_STRAIGHT,
    )
