"""Readings of one baseline or pull set, as written and in newtons."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from django.utils.translation import gettext
from numpy.typing import NDArray

from results.intake.document import PullDocument
from results.intake.findings import Findings, shown
from results.intake.rewording import instead_of
from results.intake.traces import Traced, reads_by_trace, traces_of
from rigs.metrology.bounds import READING_N
from rigs.metrology.units import FORCE_UNITS, UnitError, force_unit, parse_force
from rigs.refusals import Finding

BEYOND_CAPACITY = 2.0
"""A scale that shows more than so many times its capacity was read in another unit; common
practice, no source."""


@dataclass(frozen=True)
class Readings:
    """The column of readings; ``newtons`` is NaN where a void pull has none.

    ``traces`` are those of the pulls that have one, by their index.
    """

    written: list[str]
    units: list[str]
    newtons: NDArray[np.float64]
    traces: Mapping[int, Traced] = field(default_factory=dict)

    def forces(self) -> list[float | None]:
        """Newtons as a database takes them, None where a void pull has none."""
        return [None if math.isnan(force) else force for force in self.newtons.tolist()]


def unit_of(written: str, place: str, findings: Findings) -> str:
    """The symbol of a unit as written; newton, and a finding, where it is none."""
    try:
        return force_unit(written)
    except UnitError as error:
        findings.add(place, "unit", shown(written), error.expected)
        return "N"


def readings_of(
    pulls: Sequence[PullDocument], unit: str, place: str, findings: Findings
) -> Readings:
    """Read the readings of one part; ``unit`` is the symbol where a pull names none."""
    written, units, newtons = [], [], []
    traces = traces_of(pulls, place, findings)
    factor = FORCE_UNITS[unit]
    for index, pull in enumerate(pulls):
        reading = pull.reading
        if type(reading) is float and pull.unit is None:
            written.append(repr(reading))
            units.append(unit)
            newtons.append(reading * factor)
            continue
        if reads_by_trace(pull) and pull.trace is not None:
            # A trace that is refused has its own finding, and its pull needs no other.
            text, symbol, force = _peak(traces.get(index), unit)
        else:
            text, symbol, force = _one(pull, unit, f"{place}.pulls[{index}]", findings)
        written.append(text)
        units.append(symbol)
        newtons.append(force)
    column = Readings(written, units, np.array(newtons, dtype=np.float64), traces)
    findings.extend(_impossible(column, place))
    return column


def in_unit(force_N: float, unit: str) -> str:
    """A force as a tester writes it who writes in ``unit``, to four figures."""
    return f"{force_N / FORCE_UNITS[unit]:.4g} {unit}"


def capacity_findings(
    readings: Readings, capacity_N: float | None, written: str, place: str
) -> tuple[list[Finding], list[Finding]]:
    """Readings that can't have been read on a rig of this capacity, and those that surprise.

    ``written`` is the capacity as it was entered. What no scale reads at all has its own finding.
    """
    if capacity_N is None:
        return [], []
    above = (readings.newtons > capacity_N) & (readings.newtons <= READING_N.highest)
    impossible: list[Finding] = []
    surprising: list[Finding] = []
    for index in np.flatnonzero(above):
        beyond = readings.newtons[index] > BEYOND_CAPACITY * capacity_N
        expected = gettext("at most %(capacity)s, the rig's capacity") % {
            "capacity": written or in_unit(capacity_N, readings.units[index])
        }
        (impossible if beyond else surprising).append(
            Finding(
                f"{place}.pulls[{index}]",
                "reading",
                _in_newtons(readings, int(index)),
                gettext("%(expected)s; is the unit right?") % {"expected": expected}
                if beyond
                else expected,
            )
        )
    return impossible, surprising


def _peak(traced: Traced | None, unit: str) -> tuple[str, str, float]:
    """The peak of a trace as a reading."""
    if traced is None:
        return "", unit, math.nan
    return traced.peak_written, traced.unit, traced.peak_N


def _one(pull: PullDocument, unit: str, place: str, findings: Findings) -> tuple[str, str, float]:
    """A reading as text, its unit, and newtons; NaN where there is none or it can't be read."""
    symbol = unit if pull.unit is None else unit_of(pull.unit, place, findings)
    reading = pull.reading
    if reading is None or reading == "":
        if pull.failure_mode != "void":
            expected = gettext("a number above zero; only a void pull may have none")
            findings.add(place, "reading", gettext("nothing"), expected)
        return "", symbol, math.nan
    if isinstance(reading, str):
        try:
            force = parse_force(reading, symbol)
        except UnitError as error:
            expected = instead_of(reading) or error.expected
            findings.add(place, "reading", shown(reading), expected)
            return "", symbol, math.nan
        return reading.strip(), force.unit, force.newtons
    try:
        return f"{reading}", symbol, float(reading) * FORCE_UNITS[symbol]
    except OverflowError:
        return shown(reading), symbol, math.inf


def _impossible(column: Readings, place: str) -> list[Finding]:
    """Forces so small that no scale reads them, or so large that no line holds them."""
    sound = (column.newtons >= READING_N.lowest) & (column.newtons <= READING_N.highest)
    if sound.all():
        return []
    given = np.array([text != "" for text in column.written], dtype=bool)
    return [
        Finding(
            f"{place}.pulls[{index}]",
            "reading",
            _in_newtons(column, int(index)),
            gettext("a force %(reading_n)s N") % {"reading_n": READING_N},
        )
        for index in np.flatnonzero(given & ~sound)
    ]


def _in_newtons(column: Readings, index: int) -> str:
    written, unit, force = column.written[index], column.units[index], column.newtons[index]
    if not math.isfinite(force):
        return shown(float(force))
    said = written if written.lower().endswith(unit.lower()) else f"{written} {unit}"
    # By way of a float, since four digits of 20,500 alone would be written 2.05e+04.
    return said if unit == "N" else f"{said} ({float(f'{force:.4g}'):g} N)"
