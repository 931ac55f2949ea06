"""What a calibration is worth: the class it meets, and what its owner should know of it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigs.metrology.calibration import CalibrationLine
from rigs.metrology.classes import ReadingClass, reading_class
from rigs.metrology.errors import MetrologyError
from rigs.metrology.gravity import STANDARD_GRAVITY
from rigs.models import Calibration, CalibrationReading

FALLING = CalibrationReading.Direction.FALLING
CERTIFIED = CalibrationReading.HowKnown.CERTIFIED


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
    """What is odd or missing, a sentence each."""
    line = line_of(calibration)
    if line.unit_mix_up:
        yield f"The gain is {line.gain:.4g}. Is it that {line.unit_mix_up.explanation}?"
    if not line.offset_is_zero:
        yield (
            f"The scale is off by {line.offset_N:.3g} N at zero, more than twice the uncertainty "
            "of that. A zero error does not cancel in an efficiency; it is taken off each reading."
        )
    if calibration.local_gravity == STANDARD_GRAVITY:
        yield (
            "No latitude was told, so standard gravity stands in and the gain is less certain. "
            "In an efficiency this cancels."
        )
    if any(r.u_mass_kg is None and r.how_known != CERTIFIED for r in calibration.readings.all()):
        yield "Not every check weight has a tolerance, so the uncertainties leave that part out."
