"""Calibrate: fit a rig's line of reading on force from check weights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from rigs.locks import check_current, lock_contributor
from rigs.metrology.bounds import latest_day
from rigs.metrology.calibration import CalibrationLine, calibration_line, farthest_off
from rigs.metrology.check_weight import (
    DENSITIES,
    CheckWeightForce,
    check_weight_force,
    water_density,
)
from rigs.metrology.errors import MetrologyError, ReadingFallsWithForce
from rigs.metrology.gravity import STANDARD_GRAVITY, U_COARSE, coarse_gravity
from rigs.metrology.units import FORCE_UNITS, parse_force
from rigs.models import Calibration, CalibrationReading, RigRevision
from rigs.permissions import may
from rigs.refusals import Finding, Forbidden, Invalid

MOST_READINGS = 500


def calibrate(
    by: User,
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    *,
    latitude_deg: float | None = None,
    height_m: float | None = None,
    note: str = "",
) -> Calibration:
    """Fit and store the calibration line of a revision from its readings, which come unsaved.

    A latitude and height given here go before those of the revision; without either, standard
    gravity is used, with the uncertainty of not knowing the place. Locks the contributor. Raises
    Forbidden for someone else's rig, AccountClosed, Conflict for a voided revision, and Invalid,
    with the row of ``points``, for readings no line can be fitted to.
    """
    check_may_calibrate(by, revision)
    gravity = gravity_at(revision, latitude_deg, height_m)
    calibration = fitted(revision, made_on, readings, gravity, note)
    with transaction.atomic():
        lock_contributor(revision.rig.owner)
        check_current(revision)
        store(calibration, readings)
    return calibration


def doubtful(
    revision: RigRevision, made_on: date, readings: Sequence[CalibrationReading]
) -> Finding | None:
    """The reading to ask about before they are stored: one that no line through the others meets.

    Readings that `calibrate` refuses are asked nothing about.
    """
    if any(_findings(revision, made_on, readings)):
        return None
    for reading in readings:
        _weigh(reading)
    gravity = gravity_at(revision)
    forces = [_force(reading, gravity).newtons for reading in readings]
    found = farthest_off(forces, [reading.reading_N for reading in readings])
    if found is None:
        return None
    at, expected_N = found
    written = readings[at].reading_written
    unit = parse_force(written).unit
    return Finding(
        f"points[{at}]",
        "reading",
        gettext("%(reading)s under %(mass)s")
        % {"reading": written, "mass": readings[at].mass_written},
        gettext(
            "about %(expected)s by the other weights: correct it, or say below that it is right"
        )
        % {"expected": f"{expected_N / FORCE_UNITS[unit]:.3g} {unit}"},
    )


def check_may_calibrate(by: User, revision: RigRevision) -> None:
    """Raise Forbidden unless the rig is this user's own."""
    if not may(by, "rigs.calibrate_rig", revision.rig):
        raise Forbidden(gettext("This rig is someone else's: only its owner can calibrate it."))


def fitted(
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    gravity: float | None,
    note: str,
) -> Calibration:
    """A calibration, not stored, with the forces and numbers of its readings filled in.

    ``gravity`` is None where it isn't known. Raises Invalid.
    """
    findings = list(_findings(revision, made_on, readings))
    if findings:
        what = ", ".join(dict.fromkeys(str(WRONG[finding.field]) for finding in findings))
        raise Invalid(
            gettext("This calibration can't be right: %(what)s.") % {"what": what}, findings
        )
    for reading in readings:
        _weigh(reading)
    forces = [_force(reading, gravity) for reading in readings]
    line = _fit(forces, readings)
    for number, (reading, force) in enumerate(zip(readings, forces, strict=True), start=1):
        reading.number, reading.force_N = number, force.newtons
    return _calibration(revision, made_on, line, gravity or STANDARD_GRAVITY, note)


def store(calibration: Calibration, readings: Sequence[CalibrationReading]) -> None:
    """Insert a fitted calibration with its readings, in the caller's transaction."""
    calibration.save(force_insert=True)
    for reading in readings:
        reading.calibration = calibration
    CalibrationReading.objects.bulk_create(readings)


def gravity_at(
    revision: RigRevision, latitude_deg: float | None = None, height_m: float | None = None
) -> float | None:
    """Gravity where the rig stands, or at the place given; None where neither is known.

    To a hundredth: gain, zero error and loads are public, and what they were worked out with can be
    found from them to the last digit.
    """
    latitude = revision.latitude_deg if latitude_deg is None else latitude_deg
    height = revision.height_m if height_m is None else height_m
    return None if latitude is None else coarse_gravity(latitude, height or 0.0)


def _weigh(reading: CalibrationReading) -> None:
    """The mass of water measured by volume, by the density of its temperature."""
    if reading.volume_m3 is not None and reading.temperature_C is not None:
        reading.mass_kg = reading.volume_m3 * water_density(reading.temperature_C)


def _force(reading: CalibrationReading, gravity: float | None) -> CheckWeightForce:
    if reading.mass_kg == 0:
        return CheckWeightForce(0.0, 0.0)
    water = reading.how_known == CalibrationReading.HowKnown.WATER
    density = DENSITIES["water" if water else "steel"]
    if water and reading.temperature_C is not None:
        density = water_density(reading.temperature_C)
    return check_weight_force(reading.mass_kg, reading.u_mass_kg or 0.0, gravity, density, U_COARSE)


def _fit(
    forces: Sequence[CheckWeightForce], readings: Sequence[CalibrationReading]
) -> CalibrationLine:
    try:
        return calibration_line(
            [force.newtons for force in forces],
            [reading.reading_N for reading in readings],
            [force.u_newtons for force in forces],
        )
    except MetrologyError as error:
        field = "reading" if isinstance(error, ReadingFallsWithForce) else "mass"
        found = gettext("%(value)s different masses") % {
            "value": len({reading.mass_kg for reading in readings})
        }
        expected = gettext(
            "readings that rise with the force of three different check weights or more"
        )
        raise Invalid(
            gettext("No line can be fitted: %(error)s.") % {"error": error},
            [Finding("points", field, found, expected)],
        ) from error


def _calibration(
    revision: RigRevision, made_on: date, line: CalibrationLine, gravity: float, note: str
) -> Calibration:
    return Calibration(
        revision=revision,
        made_on=made_on,
        note=note,
        local_gravity=gravity,
        gain=line.gain,
        offset_N=line.offset_N,
        u_gain=line.u_gain,
        u_offset_N=line.u_offset_N,
        correlation=line.correlation,
        residual_sd_N=line.residual_sd_N,
        degrees_of_freedom=line.df,
        lowest_N=line.lowest_N,
        highest_N=line.highest_N,
    )


WRONG = {
    "made_on": gettext_lazy("its day"),
    "points": gettext_lazy("how many readings it has"),
    "temperature_C": gettext_lazy("the temperature of its water"),
    "how_known": gettext_lazy("how a check weight is known"),
    "reading": gettext_lazy("a reading beyond what the rig takes"),
}
"""What a refused calibration is wrong in, by the field of its findings."""


def _findings(
    revision: RigRevision, made_on: date, readings: Sequence[CalibrationReading]
) -> Iterator[Finding]:
    written, today = f"{made_on:%Y-%m-%d}", latest_day(timezone.now())
    if made_on > today:
        yield Finding(
            "",
            "made_on",
            written,
            gettext("a day not after today, %(today)s") % {"today": f"{today:%Y-%m-%d}"},
        )
    if made_on < revision.made_on:
        expected = gettext("a day not before the revision itself, %(made_on)s") % {
            "made_on": f"{revision.made_on:%Y-%m-%d}"
        }
        yield Finding("", "made_on", written, expected)
    if len(readings) > MOST_READINGS:
        yield Finding(
            "",
            "points",
            gettext("%(readings)s points") % {"readings": len(readings)},
            gettext("at most %(most_readings)s") % {"most_readings": MOST_READINGS},
        )
    for index, reading in enumerate(readings):
        if reading.volume_m3 is not None and reading.temperature_C is None:
            expected = gettext("the temperature of the water, in degrees Celsius")
            yield Finding(f"points[{index}]", "temperature_C", gettext("nothing"), expected)
        if reading.volume_m3 is not None and reading.how_known != CalibrationReading.HowKnown.WATER:
            expected = gettext("water by volume, or else a mass")
            yield Finding(f"points[{index}]", "how_known", reading.how_known, expected)
        if revision.capacity_N is not None and reading.reading_N > revision.capacity_N:
            expected = gettext("at most the rig's capacity, %(capacity_written)s") % {
                "capacity_written": revision.capacity_written
            }
            yield Finding(f"points[{index}]", "reading", reading.reading_written, expected)
