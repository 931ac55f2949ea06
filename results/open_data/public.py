"""What is public: rows of sessions that stand, were screened, and aren't held or rejected."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q, QuerySet

from results.models import Baseline, PullSet, Screening, Session
from results.states import COUNTING, State


def pull_sets() -> QuerySet[PullSet]:
    """Sets that count, and those that no efficiency can be given for.

    Nothing is public before screening has looked at it, nor against straight line that was
    withdrawn since.
    """
    looked_at = Screening.objects.filter(session=OuterRef("session"))
    standing = Session.Standing.CURRENT
    return PullSet.objects.filter(
        Q(state__in=COUNTING) | Q(state=State.RECEIVED, not_normalised__gt=""),
        Q(normalised__isnull=True) | Q(normalised__baseline__session__standing=standing),
        Exists(looked_at),
        session__standing=standing,
    ).order_by("pk")


def sessions() -> QuerySet[Session]:
    """Sessions of these sets, those that lent them straight line, and those of straight line
    alone."""
    public = pull_sets().order_by()
    lent = public.filter(normalised__isnull=False).values("normalised__baseline__session")
    alone = ~Exists(PullSet.objects.filter(session=OuterRef("pk")))
    return Session.objects.filter(
        Q(pk__in=public.values("session")) | Q(pk__in=lent) | alone,
        Exists(Screening.objects.filter(session=OuterRef("pk"))),
        standing=Session.Standing.CURRENT,
    ).order_by("pk")


def baselines() -> QuerySet[Baseline]:
    """Straight line of these sessions."""
    return Baseline.objects.filter(session__in=sessions().order_by().values("pk")).order_by("pk")
