"""Sets that move their pool's figure far, alone or with what is linked to them.

Before a set counts, its influence is known; beyond the limit it is held for a second look. A pool
with fewer other testers than a figure needs has none to move: its first testers count at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from results.models import NormalisedSet, Session
from results.pools.influence import Moved, Rows, largest_shift, without_and_with
from results.pools.pool_data import Members, members_of_each
from results.screening.linked import Links
from results.screening.thresholds import tuned
from results.statistics.pool_fit import LEAST_TESTERS
from results.statistics.screening.check import Check, Level
from results.statistics.screening.influence import (
    confirms,
    half_width,
    influence,
    influence_limit,
    lies_nearer,
)

TOGETHER = 10
"""So many linked testers are looked for, one after another or at once: what moves a figure by less
than a tenth of the least limit counts without a fit, and without waiting for other workers."""


@dataclass(frozen=True)
class Influence:
    """What sets of one session and pool, with those linked to them, move, and the limit of it.

    ``newcomers`` where like results of testers who came at the same time are judged with them,
    ``confirmed`` where a tester who counts there, neither linked nor new together, found the same.
    """

    moved: Moved
    largest: float
    linked: bool
    newcomers: bool
    confirmed: bool

    @property
    def waits(self) -> bool:
        """Whether the sets wait for a second look."""
        return not self.confirmed and self.check("").level == Level.HOLD

    def check(self, applies_to: str) -> Check:
        return influence(
            applies_to, self.moved.shift, self.largest, self.linked, newcomers=self.newcomers
        )


@dataclass(frozen=True)
class Candidates:
    """Sets of one session in one pool that would count, beside the members of the pool.

    ``at_most`` bounds what they move by themselves.
    """

    session: Session
    pool_id: int
    ids: frozenset[int]
    members: Members
    at_most: float

    @property
    def seen(self) -> frozenset[int]:
        """The sets that this was computed from."""
        return frozenset(self.members.pull_set.tolist())

    @property
    def testers(self) -> set[int]:
        """Who has a set among the members, the session's own tester with them."""
        return set(self.members.tester.tolist())

    @property
    def is_judged(self) -> bool:
        """Whether there is a figure without its tester that such sets may move far."""
        return (
            len(self.testers - {self.session.contributor_id}) >= LEAST_TESTERS and self.may_add_up
        )

    @property
    def may_add_up(self) -> bool:
        """Whether ten like these would reach the limit; else they count without a fit or a lock."""
        return TOGETHER * self.at_most > tuned(influence_limit)(0.0, 0)


def candidates_of(
    session: Session, sets: Iterable[NormalisedSet], members: Mapping[int, Members]
) -> list[Candidates]:
    """Sets of a session by pool, those pools first that were made first.

    ``members`` of these pools are those that count, and the sets.
    """
    by_pool: dict[int, set[int]] = {}
    for normalised in sets:
        by_pool.setdefault(normalised.pool_id, set()).add(normalised.pull_set_id)
    return [
        candidates_among(session, pool_id, by_pool[pool_id], members[pool_id])
        for pool_id in sorted(by_pool)
    ]


def candidates_among(
    session: Session, pool_id: int, ids: Iterable[int], members: Members
) -> Candidates:
    """Sets of a session beside the members of their pool, which are at hand already."""
    own = members.tester == session.contributor_id
    return Candidates(session, pool_id, frozenset(ids), members, largest_shift(members, own))


def again(found: Iterable[Candidates]) -> dict[int, Candidates]:
    """The same of one session as its pools stand now, by pool."""
    known = {one.pool_id: one for one in found}
    also = {pk for one in known.values() for pk in one.ids}
    members = members_of_each(known, also=also) if known else {}
    return {
        pool_id: candidates_among(one.session, pool_id, one.ids, members[pool_id])
        for pool_id, one in known.items()
    }


def links_of(found: Iterable[Candidates]) -> Links | None:
    """What one session's tester has in common with those beside whose sets it is judged, or None.

    Of all its pools at once, but for those whose figure the sets can't move far.
    """
    judged = [one for one in found if one.is_judged]
    testers = {one.pool_id: one.testers for one in judged}
    return Links(judged[0].session, testers) if judged else None


def influence_of(candidates: Candidates, links: Links | None) -> Influence | None:
    """How far the sets move the pool's figure; None where it can't be far, or there is none yet.

    Judged with what their tester, those linked to them, and those who came at the same time and
    found the like, count with already, but for sets that were released: of these somebody has had
    a second look. Where too few testers are left without all of them, with the linked ones, and
    else by the tester alone.
    """
    if links is None or not candidates.is_judged:
        return None
    members, own, testers = (
        candidates.members,
        candidates.session.contributor_id,
        candidates.testers,
    )
    least = tuned(influence_limit)(0.0, 0)
    linked = {own, *links.linked(candidates.pool_id, testers)}
    together = links.new_together(testers)
    alike = _alike(candidates, together, linked)
    for group in (linked | alike, linked, {own}):
        judged = np.isin(members.tester, list(group)) & ~np.isin(members.pull_set, links.released)
        if len(set(members.tester[~judged].tolist())) < LEAST_TESTERS:
            continue
        if largest_shift(members, judged) <= least:
            return None
        moved = without_and_with(members, judged)
        if moved is None:
            return None
        width = half_width(moved.without.se, moved.without.testers)
        largest = tuned(influence_limit)(width, links.accepted(group))
        independent = ~judged & ~np.isin(members.tester, list(together))
        confirmed = _is_confirmed(candidates, moved, independent)
        return Influence(moved, largest, len(group & linked) > 1, bool(group - linked), confirmed)
    return None


def _alike(candidates: Candidates, together: set[int], linked: set[int]) -> set[int]:
    """Those of the testers new ``together`` whose results lie nearer to it than to the others'."""
    members = candidates.members
    means = mean_by_tester(members.where(~np.isin(members.pull_set, list(candidates.ids))))
    others = [mean for tester, mean in means.items() if tester not in together | linked]
    own = mean_by_tester(members.where(np.isin(members.pull_set, list(candidates.ids))))
    if not own or not others:
        return set()
    found, usual = own[candidates.session.contributor_id], float(np.mean(others))
    return {
        tester for tester in together & means.keys() if lies_nearer(means[tester], found, usual)
    }


def mean_by_tester(members: Members) -> dict[int, float]:
    """Mean log efficiency of each tester's sets."""
    ratios = np.log(members.mean_N / members.baseline_mean_N)
    testers, number, sets = np.unique(members.tester, return_inverse=True, return_counts=True)
    return dict(zip(testers.tolist(), (np.bincount(number, ratios) / sets).tolist(), strict=True))


def _is_confirmed(candidates: Candidates, moved: Moved, rows: Rows) -> bool:
    """Whether one of the testers in these rows of the members found what the candidates show."""
    members, ratios = candidates.members, moved.without.ratios
    y = np.log(members.mean_N / members.baseline_mean_N)
    variance = (
        ratios.cv_join**2 / members.n_effective
        + ratios.cv_baseline**2 / members.baseline_n_effective
    )
    own = np.isin(members.pull_set, list(candidates.ids))
    return any(
        tuned(confirms)(
            float(y[own].mean()),
            float(variance[own].mean()),
            float(y[of].mean()),
            float(variance[of].mean()),
        )
        for tester in np.unique(members.tester[rows])
        for of in [rows & (members.tester == tester)]
    )
