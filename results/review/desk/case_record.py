"""What a case rests on, and what belongs to it: straight line, earlier decisions, other cases."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Max, Min, Prefetch, Q, QuerySet
from django.utils.translation import gettext

from results.models import Baseline, Pull, PullSet, ReviewCase, Session, StateChange
from results.models.lifecycle import State
from results.review.decisions import version_of
from results.review.selectors import holds_of

MOST_OTHERS = 40
"""Other cases that one screen offers to decide on."""

SESSIONS_SHOWN = 8
"""Earlier sessions on the rig of a case that its screen lists."""

DECIDED = (State.HELD, State.RELEASED, State.REJECTED)


@dataclass(frozen=True)
class OtherCase:
    """An open case of the same tester; ``value`` is its id and version, as a form sends them."""

    case: ReviewCase
    value: str
    same_session: bool

    @property
    def label(self) -> str:
        pull_set = self.case.pull_set
        where = gettext("of this session") if self.same_session else gettext("of another session")
        held_by = ", ".join(each.name for each in holds_of(pull_set)) or gettext("a moderator")
        text = gettext("%(set)s, %(day)s, %(where)s, held by: %(held_by)s")
        return text % {
            "set": pull_set,
            "day": f"{pull_set.session.pulled_on:%Y-%m-%d}",
            "where": where,
            "held_by": held_by,
        }


def straight_line_of(pull_set: PullSet) -> QuerySet[Baseline]:
    """The baselines of a set's lines in its session, and what it borrowed, with their pulls."""
    lines = [pull_set.main_line_id, pull_set.leader_line_id]
    of_set = Q(session=pull_set.session_id, line__in=[pk for pk in lines if pk is not None])
    return (
        Baseline.objects.filter(of_set | Q(normalised_sets__pull_set=pull_set))
        .select_related("line", "session")
        .prefetch_related(Prefetch("pulls", Pull.objects.order_by("pk")))
        .order_by("session_id", "pk")
        .distinct()
    )


def others_of_session(pull_set: PullSet) -> QuerySet[PullSet]:
    """The other sets of the session of a case, with what was made of them."""
    return (
        PullSet.objects.filter(session=pull_set.session_id)
        .exclude(pk=pull_set.pk)
        .select_related("connection", "normalised", "review_case")
        .order_by("pk")
    )


def earlier_sessions_of(pull_set: PullSet) -> QuerySet[Session]:
    """The tester's latest other sessions on the same rig: ``sets`` of them, and how many ``held``.

    A query; the mean straight strengths are on the rig's page.
    """
    session = pull_set.session
    return (
        Session.objects.filter(
            revision__rig=session.revision.rig_id, standing=Session.Standing.CURRENT
        )
        .exclude(pk=session.pk)
        .select_related("revision__rig")
        .annotate(
            sets=Count("pull_sets"),
            held=Count("pull_sets", Q(pull_sets__state=State.HELD)),
            rejected=Count("pull_sets", Q(pull_sets__state=State.REJECTED)),
            lowest=Min("pull_sets__normalised__efficiency"),
            highest=Max("pull_sets__normalised__efficiency"),
        )
        .order_by("-pulled_on", "-pk")[:SESSIONS_SHOWN]
    )


def earlier_decisions_of(pull_set: PullSet) -> QuerySet[StateChange]:
    """What was held or decided of the sets of earlier versions of the session, newest first."""
    versions = [session.pk for session in pull_set.session.earlier_versions()]
    return (
        StateChange.objects.filter(pull_set__session__in=versions, to_state__in=DECIDED)
        .select_related("by__contributor", "pull_set__session", "pull_set__connection")
        .order_by("-pk")
    )


def others_open(case: ReviewCase) -> list[OtherCase]:
    """The tester's other open cases, those of the same session first."""
    session = case.pull_set.session
    found = (
        ReviewCase.objects.still_open()
        .filter(pull_set__session__contributor=session.contributor_id)
        .exclude(pk=case.pk)
        .select_related("pull_set__connection", "pull_set__session__contributor")
        .order_by("pull_set_id")
    )
    others = [
        OtherCase(
            one, f"{one.pk}.{version_of(one.pull_set)}", one.pull_set.session_id == session.pk
        )
        for one in found[:MOST_OTHERS]
    ]
    return sorted(others, key=lambda other: not other.same_session)
