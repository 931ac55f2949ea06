"""Screening: sets that can't be right are held with reasons, for a person to decide.

A check holds or marks; it never rejects, and what a moderator has decided stays decided.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict

from django.db import transaction

from results.jobs import stale_marks
from results.models import CheckResult, Job, NormalisedSet, PullSet, Screening, Session
from results.models.lifecycle import COUNTING, State, move
from results.pools.influence import pool_shift
from results.screening.checks import CheckOutcome, run_checks
from results.screening.evidence import Evidence, evidence_of
from results.screening.holding import hold
from results.screening.released import released_causes
from results.statistics.screening.check import Check, Level

UNDECIDED = (State.RECEIVED, State.NORMALISED, State.POOLED)
"""States in which screening may hold a set; a person's decision is not its to undo."""


def screen_session(
    session_id: int, *, still_ours: Callable[[], bool], follow: Callable[[], None]
) -> None:
    """Run every check on a normalised session, hold what can't be right, let the rest count.

    Computes outside any transaction, then writes in one, and only if ``still_ours`` is
    true within it; ``follow`` makes the changes elsewhere in the same transaction. Run twice
    it leaves the same rows. Pools touched are marked as stale. Locks: the rows of this session's
    sets.
    """
    session = Session.objects.select_related("revision", "contributor__user").get(pk=session_id)
    evidence = evidence_of(session)
    found = run_checks(evidence)
    holding = _holding(evidence, found)
    shifts = {
        joined.pull_set.pk: pool_shift(joined.normalised)
        for joined in evidence.joined
        if holding[joined.pull_set.pk] and joined.normalised
    }
    with transaction.atomic():
        if still_ours():
            _keep(session, found)
            taken_out = _move(evidence, holding, shifts)
            _mark_stale(session, taken_out)
            follow()


def _holding(evidence: Evidence, found: list[CheckOutcome]) -> dict[int, list[Check]]:
    """The checks that hold each set, but those for which it was released before."""
    holds = [one for one in found if one.check.level == Level.HOLD]
    holding = {
        joined.pull_set.pk: [one.check for one in holds if one.concerns(joined)]
        for joined in evidence.joined
    }
    released = released_causes(
        joined.pull_set for joined in evidence.joined if holding[joined.pull_set.pk]
    )
    return {
        pk: [check for check in checks if check.name not in released.get(pk, ())]
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
    columns = ("name", "applies_to", "figure", "threshold", "p", "adjusted_p", "sentence", "source")
    return CheckResult(
        pull_set=one.pull_set,
        baseline=one.baseline,
        level=one.check.level.name.lower(),
        **{column: values[column] for column in columns},
    )


def _outcome(row: CheckResult) -> tuple[object, ...]:
    return (row.pull_set_id, row.baseline_id, row.name, row.figure, row.p, row.level)


def _move(
    evidence: Evidence, holding: dict[int, list[Check]], shifts: dict[int, float | None]
) -> set[int]:
    """Hold the sets that a check holds; count those that only waited for the checks.

    Returns the pools that a held set counted in.
    """
    taken_out = set()
    now = (
        PullSet.objects.select_for_update(no_key=True)
        .filter(session=evidence.session)
        .order_by("pk")
    )
    states = dict(now.values_list("pk", "state"))
    for joined in evidence.joined:
        pull_set, holds = joined.pull_set, holding[joined.pull_set.pk]
        pull_set.state = states[pull_set.pk]
        if pull_set.state not in UNDECIDED:
            continue
        if holds:
            if joined.normalised and pull_set.state in COUNTING:
                taken_out.add(joined.normalised.pool_id)
            hold(pull_set, holds, shifts.get(pull_set.pk))
        elif joined.normalised and pull_set.state == State.RECEIVED:
            move([pull_set], State.NORMALISED, reason="worked out from its pulls and baseline")
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
