"""Which straight line something may be learned from: none that is held, rejected or withdrawn.

Every look at a rig's past, or at what others pulled, begins here: charts, bridges, borrowing, what
is usual. A session's own straight line is another matter: its sets are measured against it.
"""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery

from results.models import (
    Baseline,
    CheckResult,
    Job,
    PullSet,
    Screening,
    Session,
    StateChange,
)
from results.models.lifecycle import State
from rigs.metrology.validity import BORROWED_WITHIN_DAYS

OUT = (State.HELD, State.REJECTED, State.WITHDRAWN)
"""States of a set from which nothing is learned."""


def usable(baselines: QuerySet[Baseline]) -> QuerySet[Baseline]:
    """Those of some baselines that count: of current sessions, and not held or rejected.

    Straight line has no state of its own. It is out where a check holds straight line of its
    session or all of it, or a person holds or rejects, and no set that is measured against it is
    in. Against the stronger line of a pair none is: that one goes with all sets of its session. A
    set that is held for its own pulls says nothing against the straight line.
    """
    of_session = PullSet.objects.filter(session=OuterRef("session"))
    measured = of_session.filter(
        normalised__baseline__session=OuterRef("session"),
        normalised__baseline__line=OuterRef("line"),
        normalised__baseline__spool=OuterRef("spool"),
    )
    are_in = Exists(measured.exclude(state__in=OUT)) | (
        ~Exists(measured) & Exists(of_session.exclude(state__in=OUT))
    )
    return baselines.filter(
        are_in | ~(Exists(_holds()) | Exists(_decisions())),
        session__standing=Session.Standing.CURRENT,
    )


def _holds() -> QuerySet[CheckResult]:
    """Checks of the latest screening that hold straight line of a session, or all of it."""
    screenings = Screening.objects.filter(session=OuterRef(OuterRef("session"))).order_by("-pk")
    return CheckResult.objects.filter(
        pull_set__isnull=True,
        level=CheckResult.Level.HOLD,
        screening=Subquery(screenings.values("pk")[:1]),
    )


def _decisions() -> QuerySet[StateChange]:
    """Decisions of persons by which sets of a session are out."""
    return StateChange.objects.filter(
        pull_set__session=OuterRef("session"),
        pull_set__state=F("to_state"),
        to_state__in=OUT,
        by__isnull=False,
    )


def borrowers_of_unusable(session: Session) -> QuerySet[Session]:
    """Other sessions with a set that is measured against unusable straight line of this one."""
    own = session.baselines.all()
    # Looked up first: within the other query PostgreSQL reads the sets of the whole store for it.
    unusable = list(own.exclude(pk__in=usable(own).values("pk")).values_list("pk", flat=True))
    if not unusable:
        return Session.objects.none()
    return (
        Session.objects.filter(pull_sets__normalised__baseline__in=unusable)
        .exclude(pk=session.pk)
        .exclude(jobs__state=Job.State.QUEUED)
        .distinct()
    )


def possible_borrowers(session: Session) -> QuerySet[Session]:
    """Other sessions that could have borrowed of this one, with a set that has no efficiency."""
    near = timedelta(BORROWED_WITHIN_DAYS)
    return (
        Session.objects.filter(
            revision=session.revision_id,
            state=session.state,
            loading=session.loading,
            pulled_on__range=(session.pulled_on - near, session.pulled_on + near),
            pull_sets__in=PullSet.objects.exclude(not_normalised=""),
        )
        .exclude(pk=session.pk)
        .exclude(jobs__state=Job.State.QUEUED)
        .distinct()
    )
