"""From reading to load: a rig's scale as of a day, and notes about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from results.models import Pull, Session
from rigs.metrology.budget import uncalibrated_zero
from rigs.metrology.validity import CALIBRATION_ENDS_DAYS, calibration_validity
from rigs.models import Calibration, RevisionChange, RigRevision

Floats = NDArray[np.float64]

UNCALIBRATED_ZERO = 0.03
"""Half-width, as a share of the straight strength, within which the zero of a scale that was
never calibrated and of unknown capacity is taken to lie; common practice, no source."""


@dataclass(frozen=True)
class Scale:
    """What turns readings into loads: the calibration in force, if any, and the resolution.

    ``note`` is for the testers whose sets it turns; empty where there is nothing to say.
    """

    calibration: Calibration | None
    resolution_N: float
    capacity_N: float | None = None
    note: str = ""

    @property
    def line(self) -> tuple[float, float]:
        """Offset in newtons and gain of the readings; those of the load if not calibrated."""
        used = self.calibration
        return (used.offset_N, used.gain) if used else (0.0, 1.0)

    def loads_N(self, pulls: Sequence[Pull]) -> Floats:
        """Loads in newtons from the readings; the readings themselves if not calibrated."""
        return loads_N(np.array([pull.reading_N for pull in pulls], dtype=float), *self.line)

    def u_offset_N(self, straight_N: float) -> float:
        """Standard uncertainty of the zero, in newtons of load."""
        if self.calibration is not None:
            return self.calibration.u_offset_N / self.calibration.gain
        return uncalibrated_zero_N(self.resolution_N, self.capacity_N, straight_N)

    def relative_uncertainty(self, load_N: float) -> float | None:
        """Standard uncertainty that the calibration leaves a load, over it; None without one.

        Gain and offset with their correlation, propagated as GUM 5.2 has it.
        """
        line = self.calibration
        if line is None or load_N <= 0:
            return None
        gain = load_N * line.u_gain
        both = line.u_offset_N**2 + gain**2 + 2 * line.correlation * gain * line.u_offset_N
        return float(np.sqrt(max(both, 0.0)) / line.gain / load_N)


def uncalibrated_zero_N(resolution_N: float, capacity_N: float | None, straight_N: float) -> float:
    """Standard uncertainty of the zero of a scale that was not calibrated, in newtons of load.

    By its capacity, or where that is unknown by the strength of the straight line.
    """
    if capacity_N is not None:
        return uncalibrated_zero(resolution_N, capacity_N)
    return float(UNCALIBRATED_ZERO * straight_N / np.sqrt(3))


def loads_N(readings_N: Floats, offset_N: Floats | float, gain: Floats | float) -> Floats:
    """Loads in newtons from readings in newtons."""
    return (readings_N - offset_N) / gain


def first_resolutions(revision_ids: Iterable[int]) -> dict[int, float]:
    """By revision its resolution in newtons as it was first entered, before any correction."""
    wanted = set(revision_ids)
    now = RigRevision.objects.filter(pk__in=wanted).values_list("pk", "resolution_N")
    corrected = RevisionChange.objects.filter(revision__in=wanted, version=1)
    return {**dict(now), **dict(corrected.values_list("revision_id", "resolution_N"))}


def scale_of(session: Session) -> Scale:
    """The rig's scale as it stood on the day of a session."""
    return scale_on(session.revision, session.pulled_on)


def scale_on(revision: RigRevision, day: date) -> Scale:
    """The scale by the newest calibration up to a day, unless that has expired.

    One that was voided, or replaced by a corrected one, is not used.

    One made later says nothing of that day: what was read before it may be why it was made.
    """
    current = (
        one for one in revision.calibrations.all() if one.standing == Calibration.Standing.CURRENT
    )
    calibrations = sorted(current, key=lambda one: (one.made_on, one.pk))
    before = [one for one in calibrations if one.made_on <= day]
    newest = before[-1] if before else None
    if newest is not None and calibration_validity(newest.made_on, day) != "expired":
        note = _due(newest, day)
        return Scale(newest, revision.resolution_N, revision.capacity_N, note)
    later = calibrations[len(before)] if len(calibrations) > len(before) else None
    note = _without(expired=newest, later=later)
    return Scale(None, revision.resolution_N, revision.capacity_N, note)


def _due(calibration: Calibration, day: date) -> str:
    if calibration_validity(calibration.made_on, day) != "due":
        return ""
    return f"The rig was calibrated on {calibration.made_on:%Y-%m-%d}, more than a year before."


def _without(expired: Calibration | None, later: Calibration | None) -> str:
    """Why no calibration is used, and the consequence."""
    if expired is not None:
        why = (
            f"The calibration of {expired.made_on:%Y-%m-%d} had expired by that day (it is good "
            f"for {CALIBRATION_ENDS_DAYS} days) and is not used"
        )
    elif later is not None:
        why = (
            f"The rig was not calibrated by that day: the calibration of "
            f"{later.made_on:%Y-%m-%d} came after the session and is not used"
        )
    else:
        why = "The rig was not calibrated by that day"
    return f"{why}: its zero is unknown, and the efficiency less certain for it."
