"""Which rows are public, as conditions: the first words of each table's declaration."""

from __future__ import annotations

from django.contrib.auth.models import AnonymousUser, User
from django.db.models import Exists, OuterRef, Q, QuerySet

from results.models import (
    AcceptedName,
    Baseline,
    Pool,
    Pull,
    PullSet,
    Screening,
    Session,
    Trace,
)
from results.models.lifecycle import COUNTING, State
from results.public.names import TERMINALS
from rigs.permissions import is_moderator

Account = User | AnonymousUser


def sessions_for(user: Account, path: str = "") -> Q:
    """Sessions that a user may see: not those withdrawn, but for their owner and moderators.

    ``path`` leads from the rows to their session, as in ``"session__"``.
    """
    if is_moderator(user):
        return Q()
    stands = ~Q(**{f"{path}standing": Session.Standing.WITHDRAWN})
    return stands | Q(**{f"{path}contributor__user": user.pk}) if user.pk else stands


def proposals_for(user: Account) -> Q:
    """Joins or lines that a user may see: accepted, one's own proposals, or all as a moderator."""
    if is_moderator(user):
        return Q()
    accepted = Q(accepted=True)
    return accepted | Q(proposed_by__user=user.pk) if user.pk else accepted


def rigs_named_for(user: Account) -> Q:
    """Rigs whose names a user may read, so that a search by name finds no others."""
    if is_moderator(user):
        return Q()
    accepted = AcceptedName.objects.filter(kind=AcceptedName.Kind.RIG).values("text")
    named = Q(name__in=accepted, owner__closed_at=None)
    return named | Q(owner__user=user.pk) if user.pk else named


def public_pools() -> Q:
    """Pools that have been computed, of an accepted join, to an accepted terminal."""
    return Q(current__isnull=False, connection__accepted=True) & known_terminal()


def known_terminal() -> Q:
    """Pools or sets to a line, or to a terminal by an accepted name."""
    accepted = AcceptedName.objects.filter(kind=AcceptedName.Kind.TERMINAL).values("text")
    return Q(terminal__in=["", *sorted(TERMINALS)]) | Q(terminal__in=accepted)


def archived_pull_sets() -> QuerySet[PullSet]:
    """Sets for an archive that is never taken back: those that count, and those that no efficiency
    can be given for.

    Nothing is archived before screening has looked at it, before its join is accepted, nor against
    straight line that was withdrawn since.
    """
    looked_at = Screening.objects.filter(session=OuterRef("session"))
    standing = Session.Standing.CURRENT
    return PullSet.objects.filter(
        Q(state__in=COUNTING) | Q(state=State.RECEIVED, not_normalised__gt=""),
        Q(normalised__isnull=True) | Q(normalised__baseline__session__standing=standing),
        Exists(looked_at),
        session__standing=standing,
        connection__accepted=True,
    ).order_by("pk")


def archived_sessions() -> QuerySet[Session]:
    """Sessions of these sets, those that lent them straight line, and those of straight line
    alone."""
    public = archived_pull_sets().order_by()
    lent = public.filter(normalised__isnull=False).values("normalised__baseline__session")
    alone = ~Exists(PullSet.objects.filter(session=OuterRef("pk")))
    return Session.objects.filter(
        Q(pk__in=public.values("session")) | Q(pk__in=lent) | alone,
        Exists(Screening.objects.filter(session=OuterRef("pk"))),
        standing=Session.Standing.CURRENT,
    ).order_by("pk")


def archived_baselines() -> QuerySet[Baseline]:
    """Straight line of these sessions."""
    sessions = archived_sessions().order_by().values("pk")
    return Baseline.objects.filter(session__in=sessions).order_by("pk")


def archived_pulls() -> QuerySet[Pull]:
    """Every pull of these sets and of this straight line."""
    return Pull.objects.filter(
        Q(pull_set__in=archived_pull_sets().order_by().values("pk"))
        | Q(baseline__in=archived_baselines().order_by().values("pk"))
    ).order_by("pk")


def archived_traces() -> QuerySet[Trace]:
    """The traces of these pulls."""
    return Trace.objects.filter(pull__in=archived_pulls().order_by().values("pk"))


def public_traces() -> QuerySet[Trace]:
    """Traces that everyone may see: not those of withdrawn sessions."""
    stranger = AnonymousUser()
    return Trace.objects.filter(
        sessions_for(stranger, "pull__pull_set__session__"),
        sessions_for(stranger, "pull__baseline__session__"),
    )


def archived_pools() -> QuerySet[Pool]:
    """The pools that everyone may see."""
    return Pool.objects.filter(public_pools())
