"""The health of a rig today, in a few sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from django.utils.translation import gettext as _

from results.pages.figures import day
from results.rig_checks.control_charts import Series
from results.rig_checks.revision_comparison import Bridge
from rigs.calibration_report import Appraisal
from rigs.metrology.validity import calibration_validity
from rigs.models import Calibration, CalibrationReading, RigRevision


@dataclass(frozen=True)
class Appraised:
    """A calibration with all that can be said of it."""

    calibration: Calibration
    appraisal: Appraisal

    @property
    def rows(self) -> list[tuple[CalibrationReading, float]]:
        """Each reading with its residual in newtons."""
        readings = self.calibration.readings.all()
        return list(zip(readings, self.appraisal.line.residuals.tolist(), strict=True))


@dataclass(frozen=True)
class Statement:
    """One thing to know; ``level`` says whether it asks for something to be done."""

    level: Literal["good", "look"]
    text: str


def health_of(
    latest: RigRevision,
    calibrations: Sequence[Appraised],
    series: Sequence[Series],
    bridges: Sequence[Bridge],
    today: date,
) -> list[Statement]:
    """Calibration, watch and last change of the latest revision; ``calibrations`` newest first."""
    return [
        *_calibrated(calibrations, today),
        *_watched([one for one in series if one.revision.pk == latest.pk]),
        *_bridged(bridges),
    ]


def _calibrated(calibrations: Sequence[Appraised], today: date) -> Iterator[Statement]:
    if not calibrations:
        yield Statement(
            "look",
            _(
                "This revision has not been calibrated: its zero is unknown, so its sets are less "
                "certain."
            ),
        )
        return
    calibration, appraisal = calibrations[0].calibration, calibrations[0].appraisal
    standing = calibration_validity(calibration.made_on, today)
    days = {
        "day": day(calibration.made_on),
        "due": day(appraisal.due_on),
        "expires": day(appraisal.expires_on),
    }
    if standing == "expired":
        yield Statement("look", _("Calibrated on %(day)s; that expired on %(expires)s.") % days)
    elif standing == "due":
        yield Statement(
            "look",
            _(
                "Calibrated on %(day)s; the next was due on %(due)s, and this one expires on "
                "%(expires)s."
            )
            % days,
        )
    else:
        yield Statement("good", _("Calibrated on %(day)s; the next is due on %(due)s.") % days)


def _watched(series: Sequence[Series]) -> Iterator[Statement]:
    for one in series:
        if one.kind == "straight line" and one.watch:
            days = ", ".join(day(point.session.pulled_on) for point in one.signals)
            values = {"what": one.what, "sessions": len(one.points), "days": days}
            if days:
                signals = _("The chart of %(what)s signals at %(days)s.")
                yield Statement("look", signals % values)
            else:
                none = _(
                    "%(what)s breaks consistently over %(sessions)s sessions: no chart signals."
                )
                yield Statement("good", none % values)


def _bridged(bridges: Sequence[Bridge]) -> Iterator[Statement]:
    if not bridges:
        return
    bridge = bridges[0]
    values = {"number": bridge.after.number, "advice": bridge.advice}
    if bridge.verdict == "same":
        same = _("Revision %(number)s reads the same as the one before.")
        yield Statement("good", same % values)
    elif bridge.verdict == "moved":
        moved = _("The readings shifted with revision %(number)s: compare across it with care.")
        yield Statement("look", moved % values)
    else:
        unclear = _(
            "Not enough data yet to see whether revision %(number)s shifted the readings. "
            "%(advice)s"
        )
        yield Statement("look", unclear % values)
