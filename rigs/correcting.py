"""Correct and void calibrations and revisions that were entered wrongly.

Nothing is lost: who, when, why, and the earlier values are kept. A corrected calibration is
replaced by another, so that the number of a calibration names its values for good. A revision is
corrected in place, so that its sessions stay on it, and its earlier versions are kept beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext

from rigs.calibrating import check_may_calibrate, fitted, gravity_at, store
from rigs.locks import check_current, lock_contributor
from rigs.metrology.gravity import COARSE_DECIMALS, STANDARD_GRAVITY
from rigs.models import (
    Calibration,
    CalibrationChange,
    CalibrationReading,
    RevisionChange,
    Rig,
    RigRevision,
)
from rigs.models.rigs import DESCRIBED_BY, QUANTITIES
from rigs.permissions import may
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

LONGEST_REASON = 1000
KEPT = (
    "made_on",
    "what_changed",
    "why",
    *(column for name in DESCRIBED_BY for column in QUANTITIES.get(name, (name,))),
)
"""Columns of a revision that its history keeps; where it stood is not kept."""
AS_READ = (
    "mass_written",
    "volume_m3",
    "temperature_C",
    "u_mass_kg",
    "how_known",
    "direction",
    "reading_written",
)
"""The columns of a reading as its owner wrote it."""


def correct_calibration(
    by: User,
    calibration: Calibration,
    made_on: date,
    readings: Sequence[CalibrationReading],
    reason: str,
    *,
    latitude_deg: float | None = None,
    height_m: float | None = None,
    note: str = "",
) -> Calibration:
    """Replace a calibration by a corrected one, whose readings come unsaved; returns that one.

    Without a latitude it keeps the gravity of the one it replaces. Sent a second time, it answers
    with the first one's successor. Locks the contributor. Raises Forbidden, AccountClosed,
    Conflict where it was replaced otherwise or voided, and Invalid as `calibrate` does, or without
    a reason.
    """
    revision = calibration.revision
    check_may_calibrate(by, revision)
    reason = _checked(reason)
    gravity: float | None = round(calibration.local_gravity, COARSE_DECIMALS)
    if latitude_deg is not None or calibration.local_gravity == STANDARD_GRAVITY:
        gravity = gravity_at(revision, latitude_deg, height_m)
    successor = fitted(revision, made_on, readings, gravity, note)
    with transaction.atomic():
        lock_contributor(revision.rig.owner)
        earlier = _same_as(calibration, successor, readings, reason)
        if earlier is not None:
            return earlier
        check_current(revision)
        _end(calibration, Calibration.Standing.REPLACED)
        store(successor, readings)
        CalibrationChange.objects.create(
            calibration=calibration, successor=successor, by=by, reason=reason
        )
    return successor


def void_calibration(by: User, calibration: Calibration, reason: str) -> None:
    """Keep a calibration from being used; sent a second time, it changes nothing.

    Locks the contributor. Raises Forbidden, AccountClosed, Conflict where it was replaced, and
    Invalid without a reason.
    """
    check_may_calibrate(by, calibration.revision)
    reason = _checked(reason)
    with transaction.atomic():
        lock_contributor(calibration.revision.rig.owner)
        if _standing(calibration) == Calibration.Standing.VOIDED:
            return
        _end(calibration, Calibration.Standing.VOIDED)
        CalibrationChange.objects.create(calibration=calibration, by=by, reason=reason)


def correct_revision(
    by: User, revision: RigRevision, changes: Mapping[str, Any], reason: str
) -> RigRevision:
    """Correct columns of a revision, by name, in place; returns it as it is now.

    Its sessions and calibrations stay on it. Where the place is corrected, calibrations that took
    their gravity from it are corrected as well. Sent a second time, it changes nothing. Locks the
    contributor, then the rig. Raises Forbidden, AccountClosed, Conflict where it was voided, and
    Invalid without a reason, for a day that can't be, and where nothing would change.
    """
    check_may_revise(by, revision)
    reason = _checked(reason)
    with transaction.atomic():
        _lock(revision)
        check_current(revision)
        now = RigRevision.objects.select_related("rig__owner__user").get(pk=revision.pk)
        changed = {name: value for name, value in changes.items() if getattr(now, name) != value}
        if not changed:
            if now.changes.filter(reason=reason, version=now.version - 1).exists():
                return now
            raise Invalid(gettext("Nothing would change: all of it stands there already."))
        if "made_on" in changed:
            _check_day(now, changed["made_on"])
        gravity = gravity_at(now)
        _keep(now, by, reason, voided=False)
        for name, value in changed.items():
            setattr(now, name, value)
        now.version += 1
        now.save()
        if gravity_at(now) != gravity:
            _take_gravity_from(now, gravity, by, reason)
    return now


def void_revision(by: User, revision: RigRevision, reason: str) -> None:
    """Keep a revision from being used; sent a second time, it changes nothing.

    Its number is not given again. Locks the contributor, then the rig. Raises Forbidden,
    AccountClosed, Invalid without a reason, and Conflict for the only revision of a rig. That no
    session stands on it is for the caller to see to.
    """
    check_may_revise(by, revision)
    reason = _checked(reason)
    with transaction.atomic():
        _lock(revision)
        now = RigRevision.objects.get(pk=revision.pk)
        if now.standing == RigRevision.Standing.VOIDED:
            return
        others = RigRevision.objects.filter(rig=now.rig_id, standing=RigRevision.Standing.CURRENT)
        if not others.exclude(pk=now.pk).exists():
            raise Conflict(
                gettext("This is the rig's only revision: correct it, or record the next one.")
            )
        _keep(now, by, reason, voided=True)
        RigRevision.objects.filter(pk=now.pk).update(standing=RigRevision.Standing.VOIDED)


def check_may_revise(by: User, revision: RigRevision) -> None:
    """Raise Forbidden unless the rig is this user's own."""
    if not may(by, "rigs.revise_rig", revision.rig):
        raise Forbidden(gettext("This rig is someone else's: only its owner can correct it."))


def _lock(revision: RigRevision) -> None:
    lock_contributor(revision.rig.owner)
    Rig.objects.select_for_update(no_key=True).get(pk=revision.rig_id)


def _checked(reason: str) -> str:
    words = " ".join(reason.split())
    if not words or len(reason) > LONGEST_REASON or not words.isprintable():
        found = (
            gettext("%(reason)s characters") % {"reason": len(reason)}
            if words
            else gettext("nothing")
        )
        expected = gettext("a sentence of at most %(longest_reason)s printable characters") % {
            "longest_reason": LONGEST_REASON
        }
        raise Invalid(gettext("Say what was wrong."), [Finding("", "reason", found, expected)])
    return words


def _standing(calibration: Calibration) -> str:
    return Calibration.objects.values_list("standing", flat=True).get(pk=calibration.pk)


def _end(calibration: Calibration, standing: Calibration.Standing) -> None:
    current = Calibration.objects.filter(pk=calibration.pk, standing=Calibration.Standing.CURRENT)
    if not current.update(standing=standing):
        raise Conflict(
            gettext("This calibration is no longer current: it was %(calibration)s.")
            % {"calibration": _standing(calibration)}
        )


def _same_as(
    calibration: Calibration,
    wanted: Calibration,
    readings: Sequence[CalibrationReading],
    reason: str,
) -> Calibration | None:
    """The successor that this very correction made when it was sent before."""
    change = CalibrationChange.objects.filter(calibration=calibration, reason=reason).first()
    made = change.successor if change else None
    if made is None or (made.made_on, made.note) != (wanted.made_on, wanted.note):
        return None
    stored = list(made.readings.values_list(*AS_READ))
    sent = [tuple(getattr(reading, name) for name in AS_READ) for reading in readings]
    return made if stored == sent else None


def _keep(revision: RigRevision, by: User, reason: str, *, voided: bool) -> None:
    was = {name: getattr(revision, name) for name in KEPT}
    RevisionChange.objects.create(
        revision=revision,
        version=revision.version,
        voided=voided,
        was={**was, "made_on": revision.made_on.isoformat()},
        resolution_N=revision.resolution_N,
        by=by,
        reason=reason,
    )


def _check_day(revision: RigRevision, made_on: date) -> None:
    """A date not after today or after its use, and in the order of the revisions."""
    today = timezone.now().date()
    current = RigRevision.objects.filter(
        rig=revision.rig_id, standing=RigRevision.Standing.CURRENT
    ).order_by("number")
    before = current.filter(number__lt=revision.number).last()
    after = current.filter(number__gt=revision.number).first()
    calibrated = (
        revision.calibrations.filter(standing=Calibration.Standing.CURRENT)
        .order_by("made_on")
        .first()
    )
    for limit, wrong, what in (
        (today, made_on > today, gettext("a day not after today, %(day)s")),
        (
            before and before.made_on,
            before and made_on < before.made_on,
            gettext("a day not before the revision, %(day)s"),
        ),
        (
            after and after.made_on,
            after and made_on > after.made_on,
            gettext("a day not after the next revision, %(day)s"),
        ),
        (
            calibrated and calibrated.made_on,
            calibrated and made_on > calibrated.made_on,
            gettext("a day not after its first calibration, %(day)s"),
        ),
    ):
        if wrong:
            found, expected = f"{made_on:%Y-%m-%d}", what % {"day": f"{limit:%Y-%m-%d}"}
            raise Invalid(
                gettext("%(day)s can't be the day of it.") % {"day": f"{made_on:%Y-%m-%d}"},
                [Finding("", "made_on", found, expected)],
            )


def _take_gravity_from(revision: RigRevision, gravity: float | None, by: User, reason: str) -> None:
    """Refit the calibrations whose gravity came from the rig's former place."""
    half = 0.0 if gravity is None else 0.5 * 10**-COARSE_DECIMALS
    taken = gravity or STANDARD_GRAVITY
    current = revision.calibrations.filter(
        standing=Calibration.Standing.CURRENT, local_gravity__range=(taken - half, taken + half)
    )
    for calibration in current.prefetch_related("readings"):
        readings = list(calibration.readings.all())
        for reading in readings:
            reading.pk, reading._state.adding = None, True
        successor = fitted(
            revision, calibration.made_on, readings, gravity_at(revision), calibration.note
        )
        _end(calibration, Calibration.Standing.REPLACED)
        store(successor, readings)
        CalibrationChange.objects.create(
            calibration=calibration, successor=successor, by=by, reason=reason
        )
