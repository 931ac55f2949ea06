"""Working sessions out again: what they rest on has changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet

from results.jobs import queue
from results.models import Session
from rigs import calibrating, correcting
from rigs.locks import lock_contributor
from rigs.models import Calibration, CalibrationReading, RigRevision
from rigs.refusals import Conflict

MOVES_FIGURES = ("resolution_N", "capacity_N", "latitude_deg", "height_m")
"""Columns of a revision that its sessions' figures and checks rest on."""


def calibrate(
    by: User,
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    **details: Any,
) -> Calibration:
    """Calibrate a revision as ``rigs.calibrating`` does, and work out what rests on it again.

    One transaction. The sessions pulled from that day on get a job each; an earlier one keeps
    what it has, since a calibration says nothing of the days before it.
    """
    with transaction.atomic():
        calibration = calibrating.calibrate(by, revision, made_on, readings, **details)
        work_out_again(Session.objects.filter(revision=revision, pulled_on__gte=made_on))
    return calibration


def correct_calibration(
    by: User,
    calibration: Calibration,
    made_on: date,
    readings: Sequence[CalibrationReading],
    reason: str,
    **details: Any,
) -> Calibration:
    """Correct a calibration as ``rigs.correcting`` does, and work out again what rests on it.

    One transaction. The sessions from the earlier of the two days on get a job each.
    """
    with transaction.atomic():
        successor = correcting.correct_calibration(
            by, calibration, made_on, readings, reason, **details
        )
        _work_out_from(calibration.revision_id, min(calibration.made_on, made_on))
    return successor


def void_calibration(by: User, calibration: Calibration, reason: str) -> None:
    """Void a calibration as ``rigs.correcting`` does, and work out again what rested on it.

    One transaction. The sessions from its day on get a job each: the calibration before it is
    used again, if there is one that holds still.
    """
    with transaction.atomic():
        correcting.void_calibration(by, calibration, reason)
        _work_out_from(calibration.revision_id, calibration.made_on)


def correct_revision(
    by: User, revision: RigRevision, changes: Mapping[str, Any], reason: str
) -> RigRevision:
    """Correct a revision as ``rigs.correcting`` does, and work out again what rests on it.

    One transaction. Its current sessions get a job each where their figures or checks may move.
    """
    with transaction.atomic():
        corrected = correcting.correct_revision(by, revision, changes, reason)
        if any(getattr(revision, name) != getattr(corrected, name) for name in MOVES_FIGURES):
            work_out_again(Session.objects.filter(revision=revision))
    return corrected


def void_revision(by: User, revision: RigRevision, reason: str) -> None:
    """Void a revision as ``rigs.correcting`` does, where no current session stands on it.

    One transaction. Locks as there, which uploads wait for. Raises Conflict besides where a
    current session stands on it: withdrawing takes figures of everybody's away for good, so that
    the tester has to do that knowingly, or to correct the revision and keep them.
    """
    correcting.check_may_revise(by, revision)
    with transaction.atomic():
        lock_contributor(revision.rig.owner)
        standing = Session.objects.filter(revision=revision, standing=Session.Standing.CURRENT)
        if count := standing.count():
            raise Conflict(
                f"Sessions stand on this revision, {count} of them. Correct the revision, and they "
                "stay on it as it is corrected; or amend each to the revision it was pulled on, "
                "or withdraw it, before you void this one."
            )
        correcting.void_revision(by, revision, reason)


def _work_out_from(revision_id: int, day: date) -> None:
    work_out_again(Session.objects.filter(revision=revision_id, pulled_on__gte=day))


def borrowers_of(session: Session) -> QuerySet[Session]:
    """Other sessions with a set that is measured against straight line of this one."""
    return (
        Session.objects.filter(pull_sets__normalised__baseline__session=session)
        .exclude(pk=session.pk)
        .distinct()
    )


def work_out_again(sessions: QuerySet[Session]) -> None:
    """Give each current session of these a job, in the caller's transaction."""
    for session in sessions.filter(standing=Session.Standing.CURRENT):
        queue.enqueue(session)
