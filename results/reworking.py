"""Working sessions out again: what they rest on has changed since."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet

from results import jobs
from results.models import Session
from rigs import calibrating
from rigs.models import Calibration, CalibrationReading, RigRevision


def calibrate(
    by: User,
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    **told: Any,
) -> Calibration:
    """Calibrate a revision as ``rigs.calibrating`` does, and work out what rests on it again.

    One transaction. The sessions pulled from that day on get a job each; an earlier one keeps
    what it has, since a calibration says nothing of the days before it.
    """
    with transaction.atomic():
        calibration = calibrating.calibrate(by, revision, made_on, readings, **told)
        work_out_again(Session.objects.filter(revision=revision, pulled_on__gte=made_on))
    return calibration


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
        jobs.enqueue(session)
