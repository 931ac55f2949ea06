"""Look up sessions: who may see which, in short and in full."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from rules.permissions import add_perm
from rules.predicates import predicate

from results.models import Baseline, Pull, PullSet, Session, StateChange
from results.public.rows import sessions_for
from rigs.permissions import is_moderator


@predicate
def sent_session(user: User | AnonymousUser, session: Session) -> bool:
    """Whether the session is this user's own."""
    return bool(session.contributor.user_id == user.pk)


add_perm("results.read_original", sent_session | is_moderator)


def sessions_visible_to(user: User | AnonymousUser) -> QuerySet[Session]:
    """Every session but those withdrawn, which stay visible to their owner and to moderators."""
    sessions = Session.objects.select_related("contributor", "revision__rig", "replaced_by")
    return sessions.filter(sessions_for(user))


def changed_since(moment: datetime) -> Q:
    """Sessions received, replaced by a corrected one, or with a set decided on since then."""
    decided = StateChange.objects.filter(pull_set__session=OuterRef("pk"), at__gte=moment)
    return Q(received_at__gte=moment) | Q(replaced_by__received_at__gte=moment) | Q(Exists(decided))


def with_counts(sessions: QuerySet[Session]) -> QuerySet[Session]:
    """The sessions with how many baselines, pull sets and pulls each holds."""
    return sessions.annotate(
        baseline_count=_count(Baseline, session=OuterRef("pk")),
        pull_set_count=_count(PullSet, session=OuterRef("pk")),
        pull_count=_count(Pull, baseline__session=OuterRef("pk"))
        + _count(Pull, pull_set__session=OuterRef("pk")),
        discarded_count=Coalesce(
            Subquery(
                PullSet.objects.filter(session=OuterRef("pk"))
                .order_by()
                .values("session")
                .annotate(ties=Sum("discarded_ties"))
                .values("ties")
            ),
            0,
        ),
    )


def in_full(sessions: QuerySet[Session]) -> QuerySet[Session]:
    """The sessions with everything in them, in six queries however many pulls there are."""
    pull_sets = PullSet.objects.select_related(
        "connection", "main_line", "leader_line", "normalised"
    ).order_by("pk")
    return with_counts(sessions).prefetch_related(
        Prefetch("baselines", Baseline.objects.select_related("line").order_by("pk")),
        Prefetch("baselines__pulls", Pull.objects.order_by("number")),
        Prefetch("pull_sets", pull_sets),
        Prefetch("pull_sets__pulls", Pull.objects.order_by("number")),
        "jobs",
    )


def _count(model: type[Baseline | PullSet | Pull], **of: Any) -> Coalesce:
    (parent,) = of
    counted = model._default_manager.filter(**of).order_by().values(parent)
    return Coalesce(Subquery(counted.annotate(number=Count("pk")).values("number")), 0)
