"""Sets that a person held or rejected, sent again: what a person decided stays decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator

from results.models import Pull, PullSet, Session, StateChange
from results.models.lifecycle import State
from results.screening.checks import CheckOutcome
from results.screening.evidence import Evidence, JoinedEvidence, readings_of
from results.screening.thresholds import tuned
from results.statistics.screening import decided
from results.statistics.screening.check import Check, Level

DECIDED = (State.HELD, State.RELEASED, State.REJECTED)


def decided_before(evidence: Evidence) -> list[CheckOutcome]:
    """A hold on each set of a session whose readings a person held or rejected earlier.

    In an earlier version most of them, in another session of the tester all of them in order. Of
    the same join, and by the latest decision: what was released since holds nothing.
    """
    against = _decided_against(evidence)
    readings = _readings(pull_set.pk for pull_set, _ in against)
    versions = {one.pk for one in _with_earlier_versions(evidence.session)}
    return [
        CheckOutcome(check, pull_set=joined.pull_set)
        for joined in evidence.joined
        for check in _checks(evidence, joined, against, readings, versions)
    ]


def _checks(
    evidence: Evidence,
    joined: JoinedEvidence,
    against: list[tuple[PullSet, str]],
    readings: dict[int, list[float]],
    versions: Collection[int],
) -> Iterator[Check]:
    """The check by the earlier set that is most like this one, if it holds."""
    own, step_N = readings_of(joined.pulls), evidence.scale.resolution_N
    found = []
    for earlier, decision in against:
        if earlier.connection_id != joined.pull_set.connection_id:
            continue
        if earlier.session_id in versions:
            share = tuned(decided.share_alike)(own, readings[earlier.pk], step_N)
        else:
            share = float(tuned(decided.same_in_order)(own, readings[earlier.pk]))
        found.append((share, earlier.pk, decision))
    if found:
        share, number, decision = max(found)
        check = tuned(decided.decided_before)(joined.pull_set.label, share, decision, number)
        if check.level == Level.HOLD:
            yield check


def _decided_against(evidence: Evidence) -> list[tuple[PullSet, str]]:
    """The tester's earlier sets of these joins that a person held or rejected last."""
    own = [joined.pull_set.pk for joined in evidence.joined]
    latest: dict[int, StateChange] = {}
    for change in (
        StateChange.objects.filter(
            to_state__in=DECIDED,
            pull_set__session__contributor=evidence.session.contributor_id,
            pull_set__connection__in={one.pull_set.connection_id for one in evidence.joined},
            pull_set__lt=min(own, default=0),
        )
        .select_related("pull_set")
        .order_by("pk")
    ):
        latest[change.pull_set_id] = change
    return [
        (change.pull_set, change.to_state)
        for change in latest.values()
        if change.by_id is not None and change.to_state != State.RELEASED
    ]


def _with_earlier_versions(session: Session) -> Iterator[Session]:
    each: Session | None = session
    while each is not None:
        yield each
        each = each.replaces


def _readings(pull_sets: Iterator[int]) -> dict[int, list[float]]:
    found: dict[int, list[float]] = defaultdict(list)
    ids = list(pull_sets)
    if ids:
        rows = Pull.objects.filter(pull_set__in=ids, reading_N__isnull=False).order_by("pk")
        for pull_set_id, reading_N in rows.values_list("pull_set_id", "reading_N"):
            found[pull_set_id or 0].append(reading_N or 0.0)
    return found
