"""The pulls behind the sets of a pool, as plain columns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from results.models import Baseline, Pull
from results.models.among import among
from results.statistics.failure_modes import MEANING
from rigs.models import Calibration

BATCH = 5_000
"""Sets whose pulls are asked for at once."""
UNCALIBRATED = (0.0, 1.0)
"""Offset and gain of a scale whose readings are taken as loads."""
NOT_COUNTED = [mode.value for mode, meaning in MEANING.items() if not meaning.counted]


def scales_of(calibrations: Sequence[int]) -> NDArray[np.float64]:
    """Offset in newtons and gain of each set's calibration, (k, 2)."""
    found = Calibration.objects.filter(pk__in=among(set(calibrations)))
    of_calibration = {pk: row for pk, *row in found.values_list("pk", "offset_N", "gain")}
    return np.array([of_calibration.get(pk, UNCALIBRATED) for pk in calibrations], dtype=float)


def straight_together(baselines: Sequence[int]) -> tuple[list[int], list[list[int]]]:
    """Session of each baseline, and what its straight line was pulled as.

    All baselines of its session, line and spool are pulled for one strength together.
    """
    columns = ("pk", "session_id", "line_id", "spool")
    of_sessions = Baseline.objects.filter(pk__in=among(baselines)).values("session_id")
    specimens: dict[int, tuple[int, int, str]] = {}
    together: dict[tuple[int, int, str], list[int]] = defaultdict(list)
    rows = Baseline.objects.filter(session__in=of_sessions).order_by("pk").values_list(*columns)
    for pk, *specimen in rows:
        specimens[pk] = tuple(specimen)
        together[specimens[pk]].append(pk)
    return [specimens[pk][0] for pk in baselines], [together[specimens[pk]] for pk in baselines]


def counted_pulls(
    parent: str, owners: Iterable[int]
) -> tuple[NDArray[np.int64], NDArray[np.float64], tuple[str, ...]]:
    """Owner, reading in newtons and failure mode of each counted pull, by owner.

    Plain columns: a million pulls as objects would cost more than all that is computed with them.
    """
    rows = (
        Pull.objects.filter(**{f"{parent}__in": among(owners)})
        .exclude(failure_mode__in=NOT_COUNTED)
        .order_by(parent, "pk")
        .values_list(parent, "reading_N", "failure_mode")
    )
    owner, reading_N, mode = zip(*rows, strict=True) if rows else ((), (), ())
    return np.array(owner, dtype=np.int64), np.array(reading_N, dtype=float), mode
