"""Reprocess sessions after a change of what their figures are computed from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext

from results.jobs import queue
from results.models import Session
from rigs import calibrating, correcting
from rigs.locks import lock_contributor
from rigs.models import Calibration, CalibrationReading, RigRevision
from rigs.refusals import Conflict

MOVES_FIGURES = ("resolution_N", "capacity_N", "latitude_deg", "height_m")
"""Columns of a revision that its sessions' figures and checks depend on."""


def calibrate_and_reprocess(
    by: User,
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    **details: Any,
) -> Calibration:
    """Calibrate a revision as ``rigs.calibrating`` does, and reprocess sessions that depend on it.

    One transaction. The sessions pulled from that day on get a job each; an earlier one keeps
    what it has, since a calibration says nothing of the days before it.
    """
    with transaction.atomic():
        calibration = calibrating.calibrate(by, revision, made_on, readings, **details)
        enqueue_reprocessing(Session.objects.filter(revision=revision, pulled_on__gte=made_on))
    return calibration


def correct_calibration_and_reprocess(
    by: User,
    calibration: Calibration,
    made_on: date,
    readings: Sequence[CalibrationReading],
    reason: str,
    **details: Any,
) -> Calibration:
    """Correct a calibration as ``rigs.correcting`` does, and reprocess sessions that depend on it.

    One transaction. The sessions from the earlier of the two days on get a job each.
    """
    with transaction.atomic():
        successor = correcting.correct_calibration(
            by, calibration, made_on, readings, reason, **details
        )
        _enqueue_from(calibration.revision_id, min(calibration.made_on, made_on))
    return successor


def void_calibration_and_reprocess(by: User, calibration: Calibration, reason: str) -> None:
    """Void a calibration as ``rigs.correcting`` does, and reprocess sessions that used it.

    One transaction. The sessions from its day on get a job each: the calibration before it is
    used again, if there is one that holds still.
    """
    with transaction.atomic():
        correcting.void_calibration(by, calibration, reason)
        _enqueue_from(calibration.revision_id, calibration.made_on)


def correct_revision_and_reprocess(
    by: User, revision: RigRevision, changes: Mapping[str, Any], reason: str
) -> RigRevision:
    """Correct a revision as ``rigs.correcting`` does, and reprocess sessions that depend on it.

    One transaction. Its current sessions get a job each where their figures or checks may move.
    """
    with transaction.atomic():
        corrected = correcting.correct_revision(by, revision, changes, reason)
        if any(getattr(revision, name) != getattr(corrected, name) for name in MOVES_FIGURES):
            enqueue_reprocessing(Session.objects.filter(revision=revision))
    return corrected


def void_unused_revision(by: User, revision: RigRevision, reason: str) -> None:
    """Void a revision as ``rigs.correcting`` does, unless a current session uses it.

    One transaction. Same locks, which uploads wait for. Also raises Conflict if a current session
    uses it: withdrawing removes figures for good, so the tester
    has to do that knowingly, or correct the revision and keep them.
    """
    correcting.check_may_revise(by, revision)
    with transaction.atomic():
        lock_contributor(revision.rig.owner)
        standing = Session.objects.filter(revision=revision, standing=Session.Standing.CURRENT)
        if count := standing.count():
            raise Conflict(
                gettext(
                    "Sessions stand on this revision, %(count)s of them. Correct the "
                    "revision, and they stay on it as it is corrected; or amend each to the "
                    "revision it was pulled on, or withdraw it, before you void this one."
                )
                % {"count": count}
            )
        correcting.void_revision(by, revision, reason)


def _enqueue_from(revision_id: int, day: date) -> None:
    enqueue_reprocessing(Session.objects.filter(revision=revision_id, pulled_on__gte=day))


def borrowers_of(session: Session) -> QuerySet[Session]:
    """Other sessions with a set whose baseline is of this session."""
    return (
        Session.objects.filter(pull_sets__normalised__baseline__session=session)
        .exclude(pk=session.pk)
        .distinct()
    )


def enqueue_reprocessing(sessions: QuerySet[Session]) -> None:
    """Enqueue a job for each current session of these, in the caller's transaction."""
    for session in sessions.filter(standing=Session.Standing.CURRENT):
        queue.enqueue(session)
