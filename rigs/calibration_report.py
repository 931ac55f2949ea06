"""Calibration report: the class that a calibration meets, and advice to its owner."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext

from rigs.metrology.calibration import CalibrationLine
from rigs.metrology.classes import ReadingClass, reading_class
from rigs.metrology.curvature import Curvature, curvature
from rigs.metrology.errors import MetrologyError
from rigs.metrology.gravity import STANDARD_GRAVITY
from rigs.metrology.validity import CALIBRATE_AGAIN_DAYS, CALIBRATION_ENDS_DAYS
from rigs.models import Calibration, CalibrationReading

FALLING = CalibrationReading.Direction.FALLING
CERTIFIED = CalibrationReading.HowKnown.CERTIFIED


BENT_BELOW = 0.05
"""p value of a straight rig below which its owner is warned of curvature; the usual level."""


@dataclass(frozen=True)
class Appraisal:
    """The report on one calibration.

    ``reading_class`` and ``curvature`` are None if there are too few readings. It is due
    again on ``due_on`` and no longer used after ``expires_on``; a new revision ends it sooner.
    """

    line: CalibrationLine
    reading_class: ReadingClass | None
    curvature: Curvature | None
    due_on: date
    expires_on: date
    notes: tuple[str, ...]


def appraise(calibration: Calibration) -> Appraisal:
    """Appraise a calibration from its readings; no query where they are at hand."""
    due_on, expires_on = due_and_expiry(calibration)
    return Appraisal(
        line=line_of(calibration),
        reading_class=class_of(calibration),
        curvature=curvature_of(calibration),
        due_on=due_on,
        expires_on=expires_on,
        notes=tuple(notes_on(calibration)),
    )


def due_and_expiry(calibration: Calibration) -> tuple[date, date]:
    """The day a calibration is due again, and the last on which it is used."""
    made_on = calibration.made_on
    return made_on + timedelta(CALIBRATE_AGAIN_DAYS), made_on + timedelta(CALIBRATION_ENDS_DAYS)


def curvature_of(calibration: Calibration) -> Curvature | None:
    """The quadratic beside the line; None below four different check weights."""
    readings = calibration.readings.all()
    try:
        return curvature([r.force_N for r in readings], [r.reading_N for r in readings])
    except MetrologyError:
        return None


def line_of(calibration: Calibration) -> CalibrationLine:
    """The fitted line as it was stored, with the residuals of its readings in newtons."""
    readings = calibration.readings.all()
    force = np.array([reading.force_N for reading in readings])
    read = np.array([reading.reading_N for reading in readings])
    return CalibrationLine(
        gain=calibration.gain,
        offset_N=calibration.offset_N,
        u_gain=calibration.u_gain,
        u_offset_N=calibration.u_offset_N,
        correlation=calibration.correlation,
        residual_sd_N=calibration.residual_sd_N,
        df=calibration.degrees_of_freedom,
        residuals=read - (calibration.offset_N + calibration.gain * force),
        lowest_N=calibration.lowest_N,
        highest_N=calibration.highest_N,
    )


def class_of(calibration: Calibration) -> ReadingClass | None:
    """The ISO 7500-1 class the readings meet; None where they say nothing of one.

    The last reading without a weight taken while unloading is the zero error.
    """
    readings = calibration.readings.all()
    loaded = [reading for reading in readings if reading.force_N > 0]
    zeros = [r.reading_N for r in readings if r.force_N == 0 and r.direction == FALLING]
    try:
        return reading_class(
            [reading.force_N for reading in loaded],
            [reading.reading_N for reading in loaded],
            calibration.revision.resolution_N,
            falling=[reading.direction == FALLING for reading in loaded],
            zero_reading_N=zeros[-1] if zeros else None,
        )
    except MetrologyError:
        return None


def notes_on(calibration: Calibration) -> Iterator[str]:
    """Warnings about what is unusual or missing, a sentence each."""
    line = line_of(calibration)
    if line.unit_mix_up:
        yield (
            gettext("The gain is %(gain)s. Is it that %(explanation)s?")
            % {"gain": f"{line.gain:.4g}", "explanation": line.unit_mix_up.explanation}
        )
    yield _zero(line)
    bend = curvature_of(calibration)
    if bend is not None and bend.p_value < BENT_BELOW:
        yield (
            gettext(
                "The readings bend: a curve leaves its chord by %(bend_percent)s percent "
                "of the range (p = %(p_value)s). The line is least right at mid range."
            )
            % {"bend_percent": f"{bend.bend_percent:.2g}", "p_value": f"{bend.p_value:.2g}"}
        )
    if calibration.local_gravity == STANDARD_GRAVITY:
        yield (
            gettext(
                "No latitude was given, so standard gravity is used and the gain is "
                "less certain. In an efficiency this cancels."
            )
        )
    if any(r.u_mass_kg is None and r.how_known != CERTIFIED for r in calibration.readings.all()):
        yield gettext(
            "Not every check weight has a tolerance, so the uncertainties leave that part out."
        )


def _zero(line: CalibrationLine) -> str:
    """A sentence on the zero error."""
    if line.offset_is_zero:
        return gettext(
            "The zero error is %(offset_n)s N with a standard uncertainty of "
            "%(u_offset_n)s N: it may be none. What is left of it does not cancel in an efficiency."
        ) % {"offset_n": f"{line.offset_N:.3g}", "u_offset_n": f"{line.u_offset_N:.2g}"}
    sentence = (
        gettext(
            "Zero error: the scale shows %(zero)s N too much at zero, more than twice its "
            "uncertainty. It does not cancel in an efficiency, while the gain does; it is taken "
            "off each reading."
        )
        if line.offset_N > 0
        else gettext(
            "Zero error: the scale shows %(zero)s N too little at zero, more than twice its "
            "uncertainty. It does not cancel in an efficiency, while the gain does; it is added "
            "to each reading."
        )
    )
    return sentence % {"zero": f"{abs(line.offset_N):.3g}"}
