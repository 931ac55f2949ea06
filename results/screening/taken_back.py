"""Sets that a tester has taken back from pools in which others of theirs still count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from django.db.models import Exists, OuterRef

from results.models import NormalisedSet, Session, StateChange
from results.models.lifecycle import COUNTING, State


def taken_back(session: Session, pools: Collection[int]) -> dict[int, list[float]]:
    """By pool the log ratios of withdrawn sets of a session's tester that counted there once."""
    counted = StateChange.objects.filter(pull_set=OuterRef("pull_set"), to_state__in=COUNTING)
    rows = NormalisedSet.objects.filter(
        Exists(counted),
        pool__in=pools,
        pull_set__session__contributor=session.contributor_id,
        pull_set__state=State.WITHDRAWN,
    )
    found: dict[int, list[float]] = defaultdict(list)
    for pool_id, log_ratio in rows.values_list("pool_id", "log_ratio"):
        found[pool_id].append(log_ratio)
    return found
