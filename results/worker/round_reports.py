"""Make the reports of rounds that are closed, and keep them as versions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import structlog
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Now

from results.jobs.attempts import excuse, write_or_defer
from results.jobs.database_clock import from_now
from results.models import Round, RoundEvent, RoundReport
from results.notices import notify_of_round
from results.pools.snapshots import FORMULAE
from results.rounds import renewing
from results.rounds.moved_scores import of_participant
from results.worker.recomputed_rounds import figures_again, loads_of

log = structlog.get_logger(__name__)
State = RoundReport.State


def make_round_reports() -> None:
    """Make every report that waits, or that a worker left; five attempts each."""
    left = Q(state=State.RUNNING, lease_expires_at__lt=Now())
    waiting = RoundReport.objects.filter(Q(state=State.QUEUED) | left)
    for pk in list(waiting.values_list("pk", flat=True)):
        _make(pk)


def renew_round_reports() -> None:
    """Ask for a new version of each report that today's sets give other figures, and make it."""
    changed, perhaps = renewing.outdated()
    for one in perhaps:
        if figures_again(one.round, loads_of(one.round)) == one.report:
            RoundReport.objects.filter(pk=one.pk).update(held_at=Now())
        else:
            changed.append(one)
    for one in changed:
        renewing.ask_again(one)
    make_round_reports()


def _make(pk: int) -> None:
    """Claim a report by one conditional UPDATE, compute it outside any transaction, and keep it
    only while the claim is still ours."""
    free = Q(state=State.QUEUED) | Q(state=State.RUNNING, lease_expires_at__lt=Now())
    rows = RoundReport.objects.filter(free, pk=pk)
    last = settings.SAMESPOOL_JOB_ATTEMPTS
    if rows.filter(attempts__gte=last).update(
        state=State.FAILED, problem="The worker stopped at each attempt."
    ):
        return
    with transaction.atomic():
        if not rows.update(
            state=State.RUNNING,
            attempts=F("attempts") + 1,
            lease_expires_at=from_now(settings.SAMESPOOL_LEASE_SECONDS),
        ):
            return
        claimed = RoundReport.objects.select_related("round").get(pk=pk)
        if (claimed.number, claimed.attempts, claimed.excused) == (1, 1, 0):
            _announce_close(claimed.round)
    ours = RoundReport.objects.filter(pk=pk, state=State.RUNNING, attempts=claimed.attempts)
    try:
        loads = loads_of(claimed.round)
        figures = figures_again(claimed.round, loads)
        was = renewing.before(claimed)
        made: dict[str, Any] = {
            "report": figures,
            "sets": sorted(loads),
            "changes": [] if was is None else renewing.changes(was, loads, figures),
            "formulae": FORMULAE,
            "made_at": Now(),
        }
        with transaction.atomic():
            if ours.update(state=State.MADE, problem="", **made):
                reported, version = RoundEvent.What.REPORTED, claimed.number
                RoundEvent.objects.create(round=claimed.round, what=reported, version=version)
                if was is not None:
                    _announce_version(claimed, made["changes"])
    except Exception as error:
        log.exception("round not reported", report=pk)
        problem = f"It could not be computed ({type(error).__name__})."
        _record_failure(ours, error, problem, over=claimed.attempts >= last)


def _announce_close(of: Round) -> None:
    """A notice to everyone who took part, in English as all notices are stored."""
    text = "The round is closed. Its report, and your own, are on its page."
    entered = of.participants.exclude(number=None).select_related("contributor__user")
    people = [one.contributor for one in entered]
    for one in people:
        notify_of_round(one, of, text)
    if of.organiser not in people:
        notify_of_round(of.organiser, of, "The round is closed. Its report is on its page.")


def _announce_version(made: RoundReport, changes: Sequence[Mapping[str, Any]]) -> None:
    """A notice to everyone who took part, with how far their own scores moved."""
    text = (
        f"The report of the round has a new version, {made.number}, because what it is computed "
        "from has changed. The earlier one stays readable."
    )
    entered = made.round.participants.exclude(number=None).select_related("contributor__user")
    for one in entered:
        own = of_participant(changes, one.number)
        notify_of_round(one.contributor, made.round, f"{text} {_own_scores(own)}")


def _own_scores(moved: Sequence[Mapping[str, Any]]) -> str:
    if not moved:
        return "None of your scores moved."
    said = "; ".join(
        f"sample {one['sample']} from {_score(one['was'])} to {_score(one['is'])}" for one in moved
    )
    return f"Your scores moved: {said}."


def _score(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f}"


def _record_failure(
    ours: QuerySet[RoundReport], error: Exception, problem: str, *, over: bool
) -> None:
    again = {"state": State.QUEUED, "lease_expires_at": None}
    ended = again | ({"state": State.FAILED} if over else {})

    def write() -> None:
        if not excuse(ours, "attempts", error, **again):
            ours.update(**ended, problem=problem)

    write_or_defer(write)
