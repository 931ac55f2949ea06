"""What releases a set that waits for a second look, without a moderator."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np

from results import notices
from results.jobs import queue
from results.models import Job, PullSet, ReviewCase, Session
from results.models.lifecycle import State, lock_sets, move
from results.normalising.reprocess import enqueue_reprocessing
from results.normalising.usable_straight import possible_borrowers
from results.pools.pool_data import Members, members_of
from results.screening.influence import (
    Candidates,
    Influence,
    candidates_among,
    influence_of,
    mean_by_tester,
)
from results.screening.linked import Links
from results.statistics.screening.influence import lies_nearer

MOST_AT_ONCE = 8
"""Sets waiting in a pool that one job looks at under the pool's lock: each may take two fits of
tens of milliseconds. The session of the next one gets a job of its own, which goes on from there.
"""

SAME_FOUND = "Another tester of its pool has found the same, as near as chance explains."
LITTLE_MOVED = "Its pool has changed since: now it moves the figure by no more than counts at once."
SECOND_TESTER = (
    "A second tester's result, set {set}, lies nearer to it than to the figure of the others."
)


def waiting_in(pools: Iterable[int]) -> list[tuple[int, int]]:
    """(set, pool) of what waits for a second look in these pools, those first that came first."""
    waiting = ReviewCase.objects.wait_for_a_second_look().filter(
        pull_set__normalised__pool__in=list(pools)
    )
    return list(
        waiting.order_by("pull_set_id").values_list("pull_set_id", "pull_set__normalised__pool_id")
    )


def lock_with_waiting(session: Session, pools: Iterable[int]) -> set[int]:
    """Lock the sets of a session, and those that wait in these pools, by ascending id.

    Returns the pools in which some wait.
    """
    own, waiting = session.pull_sets.values_list("pk", flat=True), waiting_in(pools)
    lock_sets({*own, *(pk for pk, _ in waiting)})
    return {pool_id for _, pool_id in waiting}


def release_settled(pools: set[int], waited: set[int], just_judged: set[int]) -> None:
    """Release what waits in these pools and is settled, after a session has been screened.

    A set is settled where it no longer moves the figure too far, by the limit of now and by that
    under which it was held, or where a tester who came after
    it, not linked to its own, finds a result nearer to it than to the others'. Of the session's
    own sets ``waited`` are those that waited before it was screened, and ``just_judged`` those
    whose influence was judged with it. Looks at ``MOST_AT_ONCE`` a pool, from the session's own
    ones on, and leaves the rest to the job of the next one's session. In the caller's transaction,
    which holds the locks of `lock_and_judge_again` and `lock_with_waiting`.
    """
    by_pool: dict[int, list[int]] = {}
    if not pools:
        return
    for pull_set_id, pool_id in waiting_in(pools):
        by_pool.setdefault(pool_id, []).append(pull_set_id)
    for pool_id, waiting in by_pool.items():
        own = waited.intersection(waiting)
        due = [pk for pk in waiting if pk >= min(own, default=0) and pk not in just_judged - own]
        _settle(pool_id, due[:MOST_AT_ONCE], set(waiting), just_judged)
        # A session that has waited goes on only where it waited: else two pools, each with a
        # session that also counts in the other, would send for each other without end.
        if due[MOST_AT_ONCE:] and (own or not waited):
            _go_on_with(due[MOST_AT_ONCE])


def _go_on_with(pull_set_id: int) -> None:
    session = Session.objects.get(pull_sets=pull_set_id)
    if not Job.objects.filter(session=session, state=Job.State.QUEUED).exists():
        queue.enqueue(session)


def _settle(pool_id: int, due: list[int], waiting: set[int], just_judged: set[int]) -> None:
    """Release those of the ``due`` sets that are settled; ``waiting`` are all that wait there."""
    if not due:
        return
    everything = members_of(pool_id, also=waiting)
    sets = PullSet.objects.select_related(
        "session__contributor__user", "session__revision", "review_case"
    )
    by_id, as_judged = sets.in_bulk(waiting), just_judged
    for pull_set_id in due:
        if pull_set_id not in waiting:
            continue
        pull_set = by_id[pull_set_id]
        out = np.isin(everything.pull_set, list(waiting - {pull_set_id}))
        candidates = candidates_among(
            pull_set.session, pool_id, {pull_set_id}, everything.where(~out)
        )
        reasons = _settled_by(candidates, pull_set, everything, waiting, as_judged)
        for pk, reason in reasons.items():
            _release(by_id[pk], reason)
            waiting.discard(pk)
            # What was judged before this release was judged of another pool.
            as_judged = set()


def _settled_by(
    candidates: Candidates,
    pull_set: PullSet,
    everything: Members,
    waiting: set[int],
    just_judged: set[int],
) -> dict[int, str]:
    """The sets that are released now, this one and perhaps another that waited, and why."""
    everybody = set(everything.tester.tolist())
    links = Links(candidates.session, {candidates.pool_id: everybody})
    if pull_set.pk not in just_judged:
        influence = influence_of(candidates, links)
        if influence is not None and influence.confirmed:
            return {pull_set.pk: SAME_FOUND}
        moves_far = influence is not None and influence.waits
        if not moves_far and not _moves_as_far(influence, pull_set):
            return {pull_set.pk: LITTLE_MOVED}
    second = _second_set(candidates, everything, waiting, links)
    if second is None:
        return {}
    found = {pull_set.pk: SECOND_TESTER.format(set=second)}
    if second in waiting:
        found[second] = SECOND_TESTER.format(set=pull_set.pk)
    return found


def _moves_as_far(influence: Influence | None, pull_set: PullSet) -> bool:
    """Whether it moves the figure by more than counted at once when it was held.

    A pool that one wild set has widened takes more at once, and is no reason to release it.
    """
    largest = pull_set.review_case.influence_limit
    return influence is not None and largest is not None and abs(influence.moved.shift) > largest


def _second_set(
    candidates: Candidates, everything: Members, waiting: Collection[int], links: Links
) -> int | None:
    """The set of a second tester that confirms the one that waits, with no sign in common.

    One sign is too little to link two testers, and enough not to take one's word for the other:
    else two accounts of one person would release each other. Nor is the word taken of who came to
    the store at the same time.
    """
    near = _nearer(candidates, everything, waiting)
    if not near:
        return None
    doubtful = links.linked(candidates.pool_id, near.keys(), signs=1)
    doubtful |= links.new_together(set(everything.tester.tolist()))
    return min((near[tester] for tester in near.keys() - doubtful), default=None)


def _nearer(
    candidates: Candidates, everything: Members, waiting: Collection[int]
) -> dict[int, int]:
    """By tester the latest set, if it came later and lies nearer to the candidates than to others.

    The others are those that count, of all testers but the two, each tester alike.
    """
    ratios = np.log(everything.mean_N / everything.baseline_mean_N)
    own = candidates.session.contributor_id
    of_own = np.isin(everything.pull_set, list(candidates.ids))
    counting = ~np.isin(everything.pull_set, list(waiting)) & (everything.tester != own)
    means = mean_by_tester(everything.where(counting))
    total, found = sum(means.values()), float(ratios[of_own].mean())
    later = (everything.pull_set > max(candidates.ids)) & (everything.tester != own)
    latest = {int(everything.tester[row]): row for row in np.flatnonzero(later)}
    nearer = {}
    for tester, row in latest.items():
        others = len(means) - (tester in means)
        if others and lies_nearer(
            float(ratios[row]), found, (total - means.get(tester, 0.0)) / others
        ):
            nearer[tester] = int(everything.pull_set[row])
    return nearer


def _release(pull_set: PullSet, reason: str) -> None:
    """Let a set count, and reprocess what may rest on its session, as after a decision."""
    move([pull_set], State.RELEASED, reason=reason)
    pull_set.state = State.RELEASED
    notices.notify_owner(pull_set, f"Set {pull_set.pk} counts in its pool now. {reason}")
    enqueue_reprocessing(Session.objects.filter(pk=pull_set.session_id))
    enqueue_reprocessing(possible_borrowers(pull_set.session))
