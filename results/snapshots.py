"""Snapshots: an id that names exactly what a pooled figure was computed from.

Pulls, baselines and calibrations are only ever added, so their ids name their values for good. A
snapshot is the list of a pool's sets with the baseline and the calibration each was worked out by;
its id is taken from that list, from the strengths these came to, and from the release of the
formulae. The same inputs have the same id wherever and whenever they are pooled.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from results.members import Members

FORMULAE = 1
"""Release of normalising and pooling; raised by every change that can move a figure."""


def inputs_of(members: Members) -> dict[str, Any]:
    """Ids of the sets of a pool, and of the baseline and the calibration of each (0 for none)."""
    return {
        "formulae": FORMULAE,
        "pull_sets": members.pull_set.tolist(),
        "baselines": members.baseline.tolist(),
        "calibrations": members.calibration.tolist(),
    }


def snapshot_id(pool_id: int, inputs: dict[str, Any], members: Members) -> str:
    """SHA-256 of the inputs and of what each set came to, as 64 hexadecimal digits."""
    columns = {name: column.tolist() for name, column in vars(members).items()}
    told = json.dumps({"pool": pool_id, **inputs, "columns": columns}, sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()


def snapshot_of_all(snapshots: list[tuple[int, int, str]]) -> str:
    """The id of several pools together, each as (pool, version, snapshot)."""
    return hashlib.sha256(json.dumps(sorted(snapshots)).encode()).hexdigest()
