"""Screening: sets that can't be right are held with reasons, for a person to decide.

A check holds or marks; it never rejects, and what a moderator has decided stays decided.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict

import numpy as np
from django.db import transaction

from results.jobs import stale_marks
from results.models import (
    CheckResult,
    Job,
    NormalisedSet,
    PullSet,
    ReviewCase,
    RoundSet,
    Screening,
    Session,
)
from results.models.lifecycle import COUNTING, State, move
from results.pools.influence import largest_share, pool_shift
from results.pools.pool_data import Members
from results.screening.checks import CheckOutcome, run_checks
from results.screening.decided import decided_before
from results.screening.evidence import Evidence, JoinedEvidence, evidence_of
from results.screening.holding import hold
from results.screening.recordings import OF_INVENTED
from results.screening.released import released_causes
from results.screening.second_look import (
    Waiting,
    judge_influence,
    lock_and_judge_again,
    waiting_of,
)
from results.screening.settling import lock_with_waiting, release_settled
from results.screening.shapes import store_shapes
from results.screening.taken_back import taken_back
from results.screening.thresholds import tuned
from results.statistics.screening.check import Check, Level
from results.statistics.screening.influence import influence_limit

UNDECIDED = (State.RECEIVED, State.NORMALISED, State.POOLED)
"""States in which screening may hold a set; a person's decision is not its to undo."""

JUDGED_AGAIN = (State.NORMALISED, State.POOLED)
"""States in which a set counts and no one has looked at what it moves."""


def screen_session(
    session_id: int, *, still_ours: Callable[[], bool], follow: Callable[[], None]
) -> None:
    """Run every check on a normalised session, hold what can't be right, let the rest count.

    What would count and moves its pool far waits for a second look; what waited and is settled by
    this session is released. Computes outside any transaction, then writes in one, and only if
    ``still_ours`` is true within it; ``follow`` makes the changes elsewhere in the same
    transaction. Run twice it leaves the same rows. Pools touched are marked as stale. Locks: pools
    that the sets can move, then the rows of this session's sets and of those that wait there.
    """
    session = Session.objects.select_related("revision", "contributor__user").get(pk=session_id)
    evidence = evidence_of(session)
    found = run_checks(evidence) + decided_before(evidence)
    holding = _holding(evidence, found)
    would_count = _would_count(evidence, holding)
    judged = judge_influence(session, would_count, _members_beside(evidence, would_count))
    shifts = {
        joined.pull_set.pk: pool_shift(joined.normalised)
        for joined in evidence.joined
        if holding[joined.pull_set.pk] and joined.normalised
    }
    pools = {one.candidates.pool_id for one in judged}
    with transaction.atomic():
        judged = lock_and_judge_again(judged)
        if still_ours():
            crowded = lock_with_waiting(session, pools)
            store_shapes([session.pk])
            waiting, waited = waiting_of(judged), _already_waiting(evidence)
            _keep(
                session, found + [CheckOutcome(one.check, one.pull_set) for one in waiting.values()]
            )
            taken_out = _move(evidence, holding, shifts, waiting, waited)
            _keep_judged(evidence, {pk for one in judged for pk in one.candidates.ids})
            release_settled(crowded, waited, set(waiting))
            _mark_stale(session, taken_out)
            follow()


def _holding(evidence: Evidence, found: list[CheckOutcome]) -> dict[int, list[Check]]:
    """The checks that hold each set, but those for which it was released before.

    A set whose every pull was recorded by itself is not held for looking invented.
    """
    holds = [one for one in found if one.check.level == Level.HOLD]
    holding = {
        joined.pull_set.pk: [one.check for one in holds if one.concerns(joined)]
        for joined in evidence.joined
    }
    released = released_causes(
        joined.pull_set for joined in evidence.joined if holding[joined.pull_set.pk]
    )
    recorded = {
        joined.pull_set.pk
        for joined in evidence.joined
        if holding[joined.pull_set.pk] and evidence.recordings.speak_for(joined.pulls)
    }
    return {
        pk: [
            check
            for check in checks
            if check.name not in released.get(pk, ())
            and not (pk in recorded and check.name in OF_INVENTED)
        ]
        for pk, checks in holding.items()
    }


def _keep(session: Session, found: list[CheckOutcome]) -> None:
    """Store the results, unless the latest screening of this session found the same."""
    rows = [_row(one) for one in found]
    latest = session.screenings.order_by("-pk").first()
    if latest is not None and [_outcome(row) for row in latest.checks.all()] == list(
        map(_outcome, rows)
    ):
        return
    screening = Screening.objects.create(session=session)
    for row in rows:
        row.screening = screening
    CheckResult.objects.bulk_create(rows)


def _row(one: CheckOutcome) -> CheckResult:
    values = asdict(one.check)
    columns = (
        *("name", "applies_to", "figure", "threshold", "p", "adjusted_p", "sentence", "source"),
        "meant_unit",
    )
    return CheckResult(
        pull_set=one.pull_set,
        baseline=one.baseline,
        level=one.check.level.name.lower(),
        **{column: values[column] for column in columns},
    )


def _outcome(row: CheckResult) -> tuple[object, ...]:
    return (row.pull_set_id, row.baseline_id, row.name, row.figure, row.p, row.level)


def _would_count(evidence: Evidence, holding: dict[int, list[Check]]) -> list[NormalisedSet]:
    """Sets that no check holds and whose influence is judged.

    New ones, those that wait already, and those that count and have changed since they were judged,
    or were judged with others that their tester has taken back.
    Sets of a club's own closed round are linked by design, and don't wait.
    """
    already, in_round = _already_waiting(evidence), _of_the_clubs_round(evidence.session)
    counts = any(joined.pull_set.state in JUDGED_AGAIN for joined in evidence.joined)
    back = taken_back(evidence.session, evidence.members) if counts else {}
    return [
        joined.normalised
        for joined in evidence.joined
        if joined.normalised is not None
        and not holding[joined.pull_set.pk]
        and joined.pull_set.pk not in in_round
        and (
            joined.pull_set.state == State.RECEIVED
            or joined.pull_set.pk in already
            or _has_changed(joined)
            or _stood_beside(joined, evidence, back)
        )
    ]


def _members_beside(evidence: Evidence, sets: list[NormalisedSet]) -> dict[int, Members]:
    """Those that count in each pool, and of the session's own also these ``sets``."""
    would_count = {one.pull_set_id for one in sets}
    out = [
        joined.pull_set.pk
        for joined in evidence.joined
        if joined.pull_set.state not in COUNTING and joined.pull_set.pk not in would_count
    ]
    return {
        pool_id: of_pool.where(~np.isin(of_pool.pull_set, out))
        for pool_id, of_pool in evidence.members.items()
    }


def _of_the_clubs_round(session: Session) -> set[int]:
    """Sets that a tester pulled in a round of the club that they are a member of."""
    club = session.contributor.club_id
    sets = RoundSet.objects.filter(pull_set__session=session, specimen__sample__round__club=club)
    return set(sets.values_list("pull_set_id", flat=True)) if club is not None else set()


def _has_changed(joined: JoinedEvidence) -> bool:
    """Whether a set that counts has changed so that the change alone may move its figure far.

    As after a corrected calibration, or against another reference line.
    """
    pull_set, found, others = joined.pull_set, joined.normalised, joined.others
    if found is None or others is None or pull_set.judged_log_ratio is None:
        return False
    change = abs(found.log_ratio - pull_set.judged_log_ratio)
    return pull_set.state in JUDGED_AGAIN and largest_share(others.members, found) * change > tuned(
        influence_limit
    )(0.0, 0)


def _stood_beside(joined: JoinedEvidence, evidence: Evidence, back: dict[int, list[float]]) -> bool:
    """Whether a set that counts was judged with others, taken back since, that may have hid it.

    Low sets and high ones of one tester move a figure little together.
    """
    found, others = joined.normalised, joined.others
    if found is None or others is None or joined.pull_set.state not in JUDGED_AGAIN:
        return False
    of_pool = back.get(found.pool_id)
    if not of_pool:
        return False
    counting = _members_beside(evidence, [])[found.pool_id]
    own = counting.of_tester(evidence.session.contributor_id)
    now = np.log(own.mean_N / own.baseline_mean_N)
    change = abs(float(now.mean()) - float(np.mean([*now, *of_pool])))
    testers = np.unique(others.members.tester).size
    return change / (testers + 1) > tuned(influence_limit)(0.0, 0)


def _keep_judged(evidence: Evidence, judged: set[int]) -> None:
    """Keep with sets that count at which log ratio their influence was judged, or first known."""
    counting = PullSet.objects.filter(session=evidence.session, state__in=COUNTING)
    known = counting.in_bulk()
    now = {one.pull_set.pk: one.normalised.log_ratio for one in evidence.joined if one.normalised}
    changed = []
    for pk in known.keys() & now.keys():
        before = known[pk].judged_log_ratio
        if before is None or (pk in judged and before != now[pk]):
            known[pk].judged_log_ratio = now[pk]
            changed.append(known[pk])
    PullSet.objects.bulk_update(changed, ["judged_log_ratio"])


def _already_waiting(evidence: Evidence) -> set[int]:
    waiting = ReviewCase.objects.wait_for_a_second_look()
    of_session = waiting.filter(pull_set__session=evidence.session)
    return set(of_session.values_list("pull_set_id", flat=True))


def _move(
    evidence: Evidence,
    holding: dict[int, list[Check]],
    shifts: dict[int, float | None],
    waiting: dict[int, Waiting],
    waited: set[int],
) -> set[int]:
    """Hold the sets that a check holds; count those that only waited for the checks.

    Returns the pools that a held set counted in.
    """
    taken_out: set[int] = set()
    counting: list[PullSet] = []
    states = dict(PullSet.objects.filter(session=evidence.session).values_list("pk", "state"))
    for joined in evidence.joined:
        pull_set, holds = joined.pull_set, holding[joined.pull_set.pk]
        pull_set.state = states[pull_set.pk]
        if pull_set.state not in UNDECIDED and not (holds and pull_set.pk in waited):
            continue
        if holds:
            if joined.normalised and pull_set.state in COUNTING:
                taken_out.add(joined.normalised.pool_id)
            hold(pull_set, holds, shifts.get(pull_set.pk))
        elif pull_set.pk in waiting:
            found = waiting[pull_set.pk]
            if joined.normalised and pull_set.state in COUNTING:
                taken_out.add(joined.normalised.pool_id)
            # What the check judged may be more than this set: linked ones, and others of the day.
            alone = pool_shift(joined.normalised) if joined.normalised else None
            hold(pull_set, [found.check], alone, found.largest)
        elif joined.normalised and pull_set.state == State.RECEIVED:
            counting.append(pull_set)
    move(counting, State.NORMALISED, reason="worked out from its pulls and baseline")
    return taken_out


def _mark_stale(session: Session, taken_out: set[int]) -> None:
    pools = NormalisedSet.objects.filter(pull_set__session=session).exclude(
        pull_set__state=State.WITHDRAWN
    )
    again = session.jobs.filter(state=Job.State.DONE).exists()
    done = "worked out again" if again else "added"
    why = f"session {session.pk} was {done}"
    stale_marks.mark(set(pools.values_list("pool_id", flat=True)) - taken_out, why)
    stale_marks.mark(taken_out, why, takes_down=True)
