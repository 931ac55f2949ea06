"""Rows from before there were bounds, brought within them; what was written stays beside.

The bounds are as they were when this was written: a migration does not change with the code.
"""

from __future__ import annotations

from datetime import date
from typing import Any

EARLIEST_DAY = date(1950, 1, 1)
CUT = {
    "RigRevision": {"resolution_N": (0.0001, 10_000), "pulleys_between": (0, 10),
                    "sample_rate_Hz": (0.1, 1_000_000), "time_to_break_s": (1, 3600),
                    "height_m": (-500, 6000)},
    "CalibrationReading": {"mass_kg": (0, 5000), "volume_m3": (1e-9, 1),
                           "temperature_C": (0, 40), "reading_N": (-100, 50_000)},
}  # fmt: skip
"""Columns that are cut to their bounds; the calibration line that was fitted stays as it is."""


def bring_within(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001
    for name, columns in CUT.items():
        rows = apps.get_model("rigs", name).objects
        for column, (lowest, highest) in columns.items():
            rows.filter(**{f"{column}__lt": lowest}).update(**{column: lowest})
            rows.filter(**{f"{column}__gt": highest}).update(**{column: highest})
    for name in ("RigRevision", "Calibration"):
        days = apps.get_model("rigs", name).objects.filter(made_on__lt=EARLIEST_DAY)
        days.update(made_on=EARLIEST_DAY)
    revisions = apps.get_model("rigs", "RigRevision").objects
    for condition in ({"capacity_N__lt": 0.1}, {"capacity_N__gt": 1_000_000}):
        revisions.filter(**condition).update(capacity_N=None)
