"""What waits for a second look at its influence, judged before a set counts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from results.models import NormalisedSet, Pool, PullSet, Session
from results.screening.influence import (
    Candidates,
    Influence,
    again,
    candidates_of,
    influence_of,
    waits,
)
from results.screening.released import released_causes
from results.screening.settling import waiting_in
from results.statistics.screening.check import Check


@dataclass(frozen=True)
class Judged:
    """Sets of one session and pool with their influence, as the pool stood."""

    candidates: Candidates
    influence: Influence | None


def judge_influence(session: Session, sets: Iterable[NormalisedSet]) -> list[Judged]:
    """The influence of a session's sets that would count, pool by pool."""
    return [Judged(one, influence_of(one)) for one in candidates_of(session, sets)]


def lock_and_judge_again(judged: Iterable[Judged]) -> list[Judged]:
    """The same in the caller's transaction, with what has come to count meanwhile.

    Locks: the rows of those pools that the sets could move or in which others wait, by ascending
    id, so that linked sets which arrive at once are judged one after the other; then the sets that
    wait there.
    """
    found = list(judged)
    crowded = {pool_id for _, pool_id in waiting_in(one.candidates.pool_id for one in found)}
    locked = [
        one.candidates.pool_id
        for one in found
        if one.candidates.may_add_up or one.candidates.pool_id in crowded
    ]
    in_order = Pool.objects.select_for_update(no_key=True).filter(pk__in=locked).order_by("pk")
    list(in_order.values_list("pk", flat=True))
    now = again(one.candidates for one in found if one.candidates.pool_id in locked)
    return [_as_it_stands(one, now.get(one.candidates.pool_id)) for one in found]


@dataclass(frozen=True)
class Waiting:
    """A set that waits, with what it moves and the largest shift that counts at once."""

    pull_set: PullSet
    check: Check
    largest: float


def waiting_of(judged: Iterable[Judged]) -> dict[int, Waiting]:
    """The sets that wait for a second look, by id, but for those released before for the same."""
    found: dict[int, Waiting] = {}
    for one in judged:
        influence = one.influence
        if influence is None:
            continue
        for pull_set in PullSet.objects.filter(pk__in=one.candidates.ids).select_related("session"):
            check = waits(influence, pull_set.label)
            if check is not None:
                found[pull_set.pk] = Waiting(pull_set, check, influence.largest)
    freed = released_causes(one.pull_set for one in found.values())
    return {pk: one for pk, one in found.items() if one.check.name not in freed.get(pk, ())}


def _as_it_stands(one: Judged, now: Candidates | None) -> Judged:
    """The same where its pool was not locked or has not changed."""
    if now is None or now.seen == one.candidates.seen:
        return one
    return Judged(now, influence_of(now))
