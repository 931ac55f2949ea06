"""What waits for a second look at its influence, judged before a set counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from results.models import NormalisedSet, Pool, PullSet, Session
from results.pools.pool_data import Members
from results.screening.influence import (
    Candidates,
    Influence,
    again,
    candidates_of,
    influence_of,
    links_of,
)
from results.screening.released import released_causes
from results.screening.settling import waiting_in
from results.statistics.screening.check import Check


@dataclass(frozen=True)
class Judged:
    """Sets of one session and pool with their influence, as the pool stood."""

    candidates: Candidates
    influence: Influence | None


def judge_influence(
    session: Session, sets: Iterable[NormalisedSet], members: Mapping[int, Members]
) -> list[Judged]:
    """The influence of a session's sets that would count, pool by pool.

    ``members`` of these pools are those that count, and the sets.
    """
    candidates = candidates_of(session, sets, members)
    links = links_of(candidates)
    return [Judged(one, influence_of(one, links)) for one in candidates]


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
    changed = {
        one.candidates.pool_id: now[one.candidates.pool_id]
        for one in found
        if one.candidates.pool_id in now and now[one.candidates.pool_id].seen != one.candidates.seen
    }
    links = links_of(changed.values())
    return [
        Judged(candidates, influence_of(candidates, links))
        if (candidates := changed.get(one.candidates.pool_id))
        else one
        for one in found
    ]


@dataclass(frozen=True)
class Waiting:
    """A set that waits, with what it moves and the largest shift that counts at once."""

    pull_set: PullSet
    check: Check
    largest: float


def waiting_of(judged: Iterable[Judged]) -> dict[int, Waiting]:
    """The sets that wait for a second look, by id, but for those released before for the same."""
    moving = {
        pk: one.influence
        for one in judged
        if one.influence is not None and one.influence.waits
        for pk in one.candidates.ids
    }
    if not moving:
        return {}
    found: dict[int, Waiting] = {}
    for pull_set in PullSet.objects.filter(pk__in=moving).select_related("session"):
        influence = moving[pull_set.pk]
        found[pull_set.pk] = Waiting(pull_set, influence.check(pull_set.label), influence.largest)
    freed = released_causes(one.pull_set for one in found.values())
    return {pk: one for pk, one in found.items() if one.check.name not in freed.get(pk, ())}
