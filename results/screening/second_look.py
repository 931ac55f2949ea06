"""What waits for a second look at its influence, and what releases it without a moderator."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.db.models import QuerySet

from results import notices
from results.models import NormalisedSet, Pool, PullSet, ReviewCase, Session
from results.models.lifecycle import COUNTING, State, lock_sets, move
from results.normalising.reprocess import enqueue_reprocessing
from results.normalising.usable_straight import possible_borrowers
from results.pools.pool_data import Members
from results.screening.influence import (
    Candidates,
    Influence,
    again,
    candidates_of,
    influence_of,
    waits,
)
from results.screening.linked import linked_testers
from results.screening.released import released_causes
from results.statistics.screening.check import Check
from results.statistics.screening.influence import lies_nearer

SAME_FOUND = "Another tester of its pool has found the same, as near as chance explains."
FEWER_MOVED = (
    "With more testers in its pool it no longer moves the figure by more than counts at once."
)
SECOND_TESTER = (
    "A second tester's result, set {set}, lies nearer to it than to the figure of the others."
)


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
    pools = [one.candidates.pool_id for one in found]
    waiting = _waiting(pools)
    crowded = {pool_id for _, pool_id in waiting.values_list(*_OF_POOL)}
    locked = [
        one.candidates.pool_id
        for one in found
        if one.candidates.may_add_up or one.candidates.pool_id in crowded
    ]
    in_order = Pool.objects.select_for_update(no_key=True).filter(pk__in=locked).order_by("pk")
    list(in_order.values_list("pk", flat=True))
    return [_as_it_stands(one) if one.candidates.pool_id in locked else one for one in found]


@dataclass(frozen=True)
class Waiting:
    """A set that waits, with what it moves and the largest shift that counts at once."""

    pull_set: PullSet
    check: Check
    shift: float
    largest: float


def waiting_of(judged: Iterable[Judged]) -> dict[int, Waiting]:
    """The sets that wait for a second look, by id, but for those released before for the same."""
    found: dict[int, Waiting] = {}
    for one in judged:
        influence = one.influence
        for pull_set in PullSet.objects.filter(pk__in=one.candidates.ids).select_related("session"):
            check = waits(influence, pull_set.label)
            if influence is not None and check is not None:
                found[pull_set.pk] = Waiting(
                    pull_set, check, influence.moved.shift, influence.largest
                )
    freed = released_causes(one.pull_set for one in found.values())
    return {pk: one for pk, one in found.items() if one.check.name not in freed.get(pk, ())}


def lock_with_waiting(session: Session, pools: Iterable[int]) -> None:
    """Lock the sets of a session, and those that wait in these pools, by ascending id."""
    own = session.pull_sets.values_list("pk", flat=True)
    lock_sets({*own, *_waiting(pools).values_list("pull_set_id", flat=True)})


def release_settled(session: Session, pools: Iterable[int]) -> None:
    """Release what waits in these pools and is settled by the sets of a screened session.

    In the caller's transaction, which holds the locks of `lock_and_judge_again` and
    `lock_with_waiting`. A set is settled where it no longer moves the figure too far, or where
    this session's tester, not linked to its own, finds a result nearer to it than to the others'.
    """
    seconds = _second_results(session, pools)
    for pull_set_id, pool_id in list(_waiting(pools).values_list(*_OF_POOL)):
        waiting = PullSet.objects.select_related("session__contributor", "session__revision").get(
            pk=pull_set_id
        )
        if waiting.state != State.HELD:
            continue
        (candidates,) = candidates_of(waiting.session, [waiting.normalised])
        influence = influence_of(candidates)
        if waits(influence, waiting.label) is None:
            _release(waiting, SAME_FOUND if influence and influence.confirmed else FEWER_MOVED)
            continue
        second = seconds.get(pool_id)
        if second and waiting.session_id != session.pk and _agree(candidates, second):
            _release(waiting, SECOND_TESTER.format(set=second.pull_set_id))
            if second.pull_set.state == State.HELD:
                _release(second.pull_set, SECOND_TESTER.format(set=waiting.pk))


_OF_POOL = ("pull_set_id", "pull_set__normalised__pool_id")


def _waiting(pools: Iterable[int]) -> QuerySet[ReviewCase]:
    return (
        ReviewCase.objects.wait_for_a_second_look()
        .filter(pull_set__normalised__pool__in=list(pools))
        .order_by("pull_set_id")
    )


def _as_it_stands(one: Judged) -> Judged:
    now = again(one.candidates)
    return one if now.seen == one.candidates.seen else Judged(now, influence_of(now))


def _second_results(session: Session, pools: Iterable[int]) -> dict[int, NormalisedSet]:
    """One set of a session in each pool that counts there or waits for its influence alone."""
    waiting = _waiting(pools).filter(pull_set__session=session).values("pull_set_id")
    own = NormalisedSet.objects.filter(pull_set__session=session, pool__in=list(pools))
    eligible = own.filter(pull_set__state__in=COUNTING) | own.filter(pull_set__in=waiting)
    found = eligible.select_related("pull_set__session__contributor__user").order_by("-pk")
    return {one.pool_id: one for one in found}


def _agree(candidates: Candidates, second: NormalisedSet) -> bool:
    """Whether a second tester's set confirms the one that waits, with no sign in common.

    One sign is too little to link two testers, and enough not to take one's word for the other:
    else two accounts of one person would release each other.
    """
    first, tester = candidates.session, second.pull_set.session.contributor_id
    doubtful = linked_testers(first, {tester}, candidates.pool_id, signs=1)
    if tester == first.contributor_id or doubtful:
        return False
    members = candidates.members
    others = members.where(~np.isin(members.tester, [first.contributor_id, tester]))
    own = members.where(np.isin(members.pull_set, list(candidates.ids)))
    return lies_nearer(float(np.log(second.efficiency)), _mean(own), _mean(others))


def _mean(members: Members) -> float:
    """Mean log efficiency, each tester alike."""
    ratios = np.log(members.mean_N / members.baseline_mean_N)
    _, tester, sets = np.unique(members.tester, return_inverse=True, return_counts=True)
    return float((np.bincount(tester, ratios) / sets).mean())


def _release(pull_set: PullSet, reason: str) -> None:
    """Let a set count, and reprocess what may rest on its session, as after a decision."""
    move([pull_set], State.RELEASED, reason=reason)
    pull_set.state = State.RELEASED
    notices.notify_owner(pull_set, f"'{pull_set.label}' counts in its pool now. {reason}")
    enqueue_reprocessing(Session.objects.filter(pk=pull_set.session_id))
    enqueue_reprocessing(possible_borrowers(pull_set.session))
