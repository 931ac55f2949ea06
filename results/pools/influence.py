"""Influence: how far a pool moves without a set, for a moderator who decides on it."""

from __future__ import annotations

from dataclasses import dataclass

from results.models import NormalisedSet
from results.pools.estimate import Outcome, fit_from, pooled_from
from results.pools.pool_data import members_of


@dataclass(frozen=True)
class WithAndWithout:
    """What the pool of a set comes to with it counted, and without."""

    with_it: Outcome
    without_it: Outcome

    @property
    def shift(self) -> float | None:
        """Change of the log of the pooled efficiency; None where either has no pooled figure."""
        counted, left_out = self.with_it.pooled, self.without_it.pooled
        return counted.mu - left_out.mu if counted and left_out else None


def with_and_without(normalised: NormalisedSet) -> WithAndWithout:
    """The set's pool as of now, with the set and without it; nothing is stored."""
    members = members_of(normalised.pool_id, also=normalised.pull_set_id)
    return WithAndWithout(
        pooled_from(members), pooled_from(members.without_set(normalised.pull_set_id))
    )


def pool_shift(normalised: NormalisedSet) -> float | None:
    """The shift alone, at a small part of the cost."""
    members = members_of(normalised.pool_id, also=normalised.pull_set_id)
    counted = fit_from(members)
    left_out = fit_from(members.without_set(normalised.pull_set_id))
    return counted.mu - left_out.mu if counted and left_out else None
