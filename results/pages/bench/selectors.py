"""What a tester sees on their bench: straight line of earlier days, sessions, what is held."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Avg, Count, F, OuterRef, Prefetch, Q, QuerySet, StdDev, Subquery

from results.models import (
    Baseline,
    CheckResult,
    Job,
    Message,
    NormalisedSet,
    Pool,
    PullSet,
    Screening,
    Session,
    StateChange,
)
from results.models.lifecycle import COUNTING, State
from results.normalising.usable_straight import usable
from results.pools.selectors import own_sets_waiting, pools
from results.review.selectors import sentences_of
from rigs.models import Contributor

BASELINES_OFFERED = 30
HELD_SHOWN, WITHDRAWN_SHOWN = 20, 50


@dataclass(frozen=True)
class Held:
    """A set that is held or was rejected, why, and what was said of it."""

    pull_set: PullSet
    checks: Sequence[CheckResult]
    thread: Sequence[Message]
    since: datetime | None

    @property
    def said(self) -> list[str]:
        """What a page that shows it says of the set."""
        return [*sentences_of(self.checks), *(message.text for message in self.thread)]

    @property
    def decided(self) -> bool:
        """Whether a person decided, so that another can be appealed to."""
        return any(message.kind == Message.Kind.DECISION for message in self.thread)


def latest_straight(contributor: Contributor) -> QuerySet[Baseline]:
    """Straight line of one's latest sessions: ``parted`` pulls, ``mean_N`` and ``sd_N`` of them.

    None that is held or was rejected.
    Readings as the scale gave them, so they compare on the same revision alone.
    """
    in_line = Q(pulls__failure_mode="line")
    return (
        usable(Baseline.objects.filter(session__contributor=contributor))
        .select_related("line", "session__revision__rig")
        .annotate(
            parted=Count("pulls", in_line),
            mean_N=Avg("pulls__reading_N", filter=in_line),
            sd_N=StdDev("pulls__reading_N", filter=in_line, sample=True),
        )
        .filter(parted__gte=3)
        .order_by("-session__pulled_on", "-pk")[:BASELINES_OFFERED]
    )


def latest_sessions(contributor: Contributor) -> QuerySet[Session]:
    """One's current sessions, newest first, each with its sets and its latest job's state."""
    latest = Job.objects.filter(session=OuterRef("pk")).order_by("-created_at")
    return (
        Session.objects.filter(contributor=contributor, standing=Session.Standing.CURRENT)
        .select_related("revision__rig")
        .annotate(
            set_count=Count("pull_sets"),
            held_count=Count("pull_sets", Q(pull_sets__state=State.HELD)),
            job_id=Subquery(latest.values("pk")[:1]),
            job_state=Subquery(latest.values("state")[:1]),
        )
        .prefetch_related("pull_sets__connection")
        .order_by("-pulled_on", "-pk")
    )


def withdrawn_sessions(contributor: Contributor) -> QuerySet[Session]:
    """One's sessions that were withdrawn, the newest first; those replaced are on the later one."""
    withdrawn = Session.objects.filter(
        contributor=contributor, standing=Session.Standing.WITHDRAWN
    ).select_related("revision__rig", "contributor")
    return withdrawn.order_by("-pulled_on", "-pk")[:WITHDRAWN_SHOWN]


_came_to_its_state = (
    StateChange.objects.filter(pull_set=OuterRef("pk"), to_state=OuterRef("state"))
    .exclude(from_state=F("to_state"))
    .order_by("-pk")
)


def _held_or_rejected(contributor: Contributor) -> QuerySet[PullSet]:
    return PullSet.objects.filter(
        session__contributor=contributor,
        session__standing=Session.Standing.CURRENT,
        state__in=[State.HELD, State.REJECTED],
    )


def how_many_more_held(contributor: Contributor, shown: Sequence[Held]) -> int:
    """How many sets of theirs are held or rejected beyond those that `held_sets` has."""
    if len(shown) < HELD_SHOWN:
        return 0
    return _held_or_rejected(contributor).count() - len(shown)


def held_sets(contributor: Contributor) -> list[Held]:
    """One's sets that are held or rejected, newest first, with the checks that hold them.

    In three queries: the sets with their threads, and the latest screening of their sessions.
    """
    pull_sets = list(
        _held_or_rejected(contributor)
        .select_related("connection", "session", "normalised__pool__current", "review_case")
        .annotate(since=Subquery(_came_to_its_state.values("at")[:1]))
        .prefetch_related(Prefetch("messages", Message.objects.select_related("by").order_by("pk")))
        .order_by("-session__pulled_on", "-pk")[:HELD_SHOWN]
    )
    checks = _holding_checks({pull_set.session_id for pull_set in pull_sets})
    return [
        Held(
            pull_set,
            [check for check in checks[pull_set.session_id] if _is_of(check, pull_set)],
            list(pull_set.messages.all()),
            pull_set.since,
        )
        for pull_set in pull_sets
    ]


def _holding_checks(sessions: set[int]) -> dict[int, list[CheckResult]]:
    newest = Screening.objects.filter(session=OuterRef("screening__session")).order_by("-pk")
    found = (
        CheckResult.objects.filter(level=CheckResult.Level.HOLD, screening__session__in=sessions)
        .annotate(newest=Subquery(newest.values("pk")[:1]))
        .filter(screening=F("newest"))
        .select_related("screening__session")
        .order_by("pk")
    )
    by_session: dict[int, list[CheckResult]] = defaultdict(list)
    for check in found:
        by_session[check.screening.session_id].append(check)
    return by_session


def _is_of(check: CheckResult, pull_set: PullSet) -> bool:
    """Whether a check is of this set, of its straight line, or of the whole session."""
    if check.pull_set_id is not None:
        return check.pull_set_id == pull_set.pk
    normalised = getattr(pull_set, "normalised", None)
    if check.baseline_id is not None:
        return normalised is not None and check.baseline_id == normalised.baseline_id
    return True


def pools_tied_by(contributor: Contributor) -> QuerySet[Pool]:
    """Pools that one has a set in that counts or waits for a second look, most sets first."""
    own = Q(
        normalised_sets__pull_set__session__contributor=contributor,
        normalised_sets__pull_set__state__in=COUNTING,
    ) | Q(normalised_sets__pull_set__in=own_sets_waiting(contributor))
    return (
        pools()
        .order_by()
        .annotate(own_sets=Count("normalised_sets", own))
        .filter(own_sets__gt=0)
        .order_by("-own_sets", "pk")
    )


def own_efficiencies(contributor: Contributor, pools: Sequence[int]) -> dict[int, list[float]]:
    """By pool the efficiencies of one's sets that count or wait for a second look, by day."""
    own = NormalisedSet.objects.filter(
        Q(pull_set__state__in=COUNTING) | Q(pull_set__in=own_sets_waiting(contributor)),
        pool__in=pools,
        pull_set__session__contributor=contributor,
    ).order_by("pull_set__session__pulled_on", "pull_set_id")
    found: dict[int, list[float]] = {pool: [] for pool in pools}
    for pool, efficiency in own.values_list("pool_id", "efficiency"):
        found[pool].append(efficiency)
    return found
