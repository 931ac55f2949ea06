"""Tables of who measures with what."""

from rigs.models.calibrations import Calibration, CalibrationReading
from rigs.models.contributors import Club, Contributor, Suspension
from rigs.models.corrections import CalibrationChange, RevisionChange
from rigs.models.lines import Line, Material
from rigs.models.rigs import Rig, RigRevision

__all__ = [
    "Calibration",
    "CalibrationChange",
    "CalibrationReading",
    "Club",
    "Contributor",
    "Line",
    "Material",
    "RevisionChange",
    "Rig",
    "RigRevision",
    "Suspension",
]
