"""What a tester and their peers found in the same pools before: for shifts, and where ties part."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from django.db.models import Q

from results.models import NormalisedSet, Session
from results.models.lifecycle import COUNTING
from results.screening.references import PoolOfOthers
from results.screening.thresholds import tuned
from results.statistics.screening import over_time
from results.statistics.screening.check import Check
from rigs.metrology.charts import cusum_chart

MOST_SETS = 500
"""Sets of others in a session's pools, the newest, that say where ties part: more make it no surer.
The tester's own are all looked at, however many others have sent since."""


@dataclass(frozen=True)
class Found:
    """A set of a pool: tester, day, figures, pulls in which something else gave way first."""

    tester: int
    when: tuple[str, int]
    log_ratio: float
    n_effective: float
    baseline_n_effective: float
    counted: int
    outlasted: int


COLUMNS = (
    "pool_id",
    "pull_set__session__contributor_id",
    "pull_set__session__pulled_on",
    "pull_set_id",
    "log_ratio",
    "n_effective",
    "baseline_n_effective",
    "counted",
    "join_itself",
)


def found_in_pools(session: Session, pools: set[int]) -> dict[int, list[Found]]:
    """By pool the sets that count, and the session's own, in order of day; two queries."""
    rows = NormalisedSet.objects.filter(pool__in=pools).order_by("-pull_set_id")
    counting = Q(pull_set__state__in=COUNTING)
    its_own = Q(pull_set__session__contributor=session.contributor_id)
    own = rows.filter(its_own, counting | Q(pull_set__session=session))
    others = rows.filter(~its_own, counting)[:MOST_SETS]
    found: dict[int, list[Found]] = defaultdict(list)
    for of in (own, others):
        for pool_id, tester, day, pk, ratio, n, baseline_n, counted, itself in of.values_list(
            *COLUMNS
        ):
            outlasted = int(itself.get("outlasted", 0))
            found[pool_id].append(
                Found(tester, (day.isoformat(), pk), ratio, n, baseline_n, counted, outlasted)
            )
    return {pool_id: sorted(sets, key=lambda one: one.when) for pool_id, sets in found.items()}


def checks(
    subject: str, pull_set_id: int, sets: list[Found], others: PoolOfOthers
) -> Iterator[Check | None]:
    """A set with its tester's earlier ones, against the pool without them and against peers."""
    this = next((one for one in sets if one.when[1] == pull_set_id), None)
    if this is None or others.usual is None:
        return
    own = [one for one in sets if one.tester == this.tester and one.when <= this.when]
    yield _slow_shift(subject, own, others)
    peers: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    for one in sets:
        if one.tester != this.tester:
            peers[one.tester][0] += one.outlasted
            peers[one.tester][1] += one.counted
    yield tuned(over_time.parting_places)(
        subject,
        sum(one.outlasted for one in own),
        sum(one.counted for one in own),
        [outlasted for outlasted, _ in peers.values()],
        [counted for _, counted in peers.values()],
    )


def _slow_shift(subject: str, own: list[Found], others: PoolOfOthers) -> Check | None:
    if len(own) < over_time.LEAST_SESSIONS or others.usual is None:
        return None
    variances = [
        others.cv_join**2 / one.n_effective
        + others.cv_baseline**2 / one.baseline_n_effective
        + over_time.SESSION_SD**2
        for one in own
    ]
    differences = np.array([one.log_ratio for one in own]) - others.usual.centre
    scores = over_time.session_scores(differences, variances)
    chart = cusum_chart(scores, 0.0, over_time.ALLOWANCE, over_time.DECISION)
    return tuned(over_time.slow_shift)(
        subject, float(chart.high[-1]), float(chart.low[-1]), len(own)
    )
