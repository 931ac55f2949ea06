"""What moderators and contributors read of a review: the queue, the checks, how checks fare."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Max, Prefetch, Q, QuerySet
from django.db.models.functions import Abs

from results.models import CheckResult, Message, NormalisedSet, PullSet, ReviewCase, StateChange
from results.models.lifecycle import State
from results.screening.holding import what_settles
from rigs.models import Contributor


@dataclass(frozen=True)
class CheckRecord:
    """How often a check held a set, and what moderators made of those sets.

    ``waiting`` are held still, and ``by_itself`` were released by the service alone, once they were
    settled. What is in none of these was withdrawn.
    """

    name: str
    held: int
    released: int
    rejected: int
    waiting: int = 0
    by_itself: int = 0

    @property
    def decided(self) -> int:
        """Sets that a moderator has released or rejected."""
        return self.released + self.rejected

    @property
    def overturned(self) -> float | None:
        """Share of the decided sets that were released; None before the first decision."""
        return self.released / self.decided if self.decided else None


def queue() -> QuerySet[ReviewCase]:
    """Open cases, those first that would move their pool the most."""
    return (
        ReviewCase.objects.still_open()
        .select_related(
            "pull_set__session__contributor__user",
            "pull_set__session__revision__rig",
            "pull_set__connection",
            "pull_set__normalised__pool__connection",
            "appealed",
        )
        .order_by(Abs("pool_shift").desc(nulls_last=True), "opened_at", "pk")
    )


def check_results_of(pull_set: PullSet) -> QuerySet[CheckResult]:
    """What the latest screening found of a set, of its straight line and of its session."""
    latest = pull_set.session.screenings.order_by("-pk").values("pk")[:1]
    baseline = NormalisedSet.objects.filter(pull_set=pull_set).values("baseline")
    return (
        CheckResult.objects.filter(
            Q(pull_set=pull_set)
            | Q(baseline__in=baseline)
            | Q(pull_set__isnull=True, baseline__isnull=True),
            screening=latest,
        )
        .select_related("screening__session")
        .order_by("pk")
    )


def said_beyond(text: str, said: Iterable[str]) -> str:
    """What a kept reason or notice says beside what its page has ``said`` already."""
    for each in said:
        text = text.replace(each, "")
    return " ".join(text.split())


def sentences_of(checks: Sequence[CheckResult]) -> list[str]:
    """What a hold keeps in its reason, and in its notice with what settles it."""
    settled = what_settles(each.name for each in checks if each.hold)
    return [settled, *(each.sentence for each in checks)]


def holds_of(pull_set: PullSet) -> QuerySet[CheckResult]:
    """The checks that hold a set."""
    return check_results_of(pull_set).filter(level=CheckResult.Level.HOLD)


def thread_of(pull_set: PullSet) -> QuerySet[Message]:
    """Questions, answers, appeals and decisions, oldest first."""
    return pull_set.messages.select_related("pull_set__session__contributor").order_by("pk")


def threads_of(contributor: Contributor) -> QuerySet[PullSet]:
    """One's own sets that were written about, the latest first, each with its messages."""
    written = Message.objects.select_related("by").order_by("pk")
    return (
        PullSet.objects.filter(session__contributor=contributor, messages__isnull=False)
        .annotate(latest=Max("messages__pk"))
        .select_related("connection", "session")
        .prefetch_related(Prefetch("messages", written))
        .order_by("-latest")
    )


def check_records() -> list[CheckRecord]:
    """Every check that ever held a set; those overturned most often first."""
    decided = _decided_states()
    now = dict(PullSet.objects.filter(review_case__isnull=False).values_list("pk", "state"))
    records = []
    for name, pull_sets in _sets_held_by_check().items():
        outcome = Counter(decided.get(pull_set, "") for pull_set in pull_sets)
        undecided = Counter(now.get(pull_set) for pull_set in pull_sets - decided.keys())
        records.append(
            CheckRecord(
                name,
                len(pull_sets),
                outcome[State.RELEASED],
                outcome[State.REJECTED],
                undecided[State.HELD],
                undecided[State.RELEASED],
            )
        )
    return sorted(records, key=lambda record: (-(record.overturned or 0.0), -record.held))


def _decided_states() -> dict[int, str]:
    """The state of each set after the latest decision of a person."""
    decided = StateChange.objects.filter(
        by__isnull=False, to_state__in=[State.RELEASED, State.REJECTED]
    ).order_by("pk")
    return dict(decided.values_list("pull_set_id", "to_state"))


def _sets_held_by_check() -> dict[str, set[int]]:
    """Each holding check's sets: its own, those of its baseline, or those of its session."""
    of_baseline: dict[int, set[int]] = defaultdict(set)
    of_session: dict[int, set[int]] = defaultdict(set)
    cases = ReviewCase.objects.values_list(
        "pull_set_id", "pull_set__session_id", "pull_set__normalised__baseline_id"
    )
    for pull_set_id, session_id, baseline_id in cases:
        of_session[session_id].add(pull_set_id)
        if baseline_id is not None:
            of_baseline[baseline_id].add(pull_set_id)
    held: dict[str, set[int]] = defaultdict(set)
    holds = CheckResult.objects.filter(level=CheckResult.Level.HOLD).values_list(
        "name", "pull_set_id", "baseline_id", "screening__session_id"
    )
    for name, pull_set_id, baseline_id, session_id in holds:
        if pull_set_id is not None:
            held[name].add(pull_set_id)
        elif baseline_id is not None:
            held[name] |= of_baseline[baseline_id]
        else:
            held[name] |= of_session[session_id]
    return held
