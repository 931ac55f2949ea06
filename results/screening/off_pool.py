"""How far sets lie from what their pools expect of a new tester."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from results.screening.evidence import JoinedEvidence


@dataclass(frozen=True)
class OffPool:
    """How far a set lies from what its pool expects: on the log scale, and in sds of so many df."""

    difference: float
    t: float
    degrees_of_freedom: float


def off_its_pool(joined: JoinedEvidence) -> OffPool | None:
    """None without an efficiency, or where the pool is too small to expect anything."""
    normalised, others = joined.normalised, joined.others
    if normalised is None or others is None or others.usual is None:
        return None
    difference = normalised.log_ratio - others.usual.centre
    sd = others.prediction_sd(others.usual, normalised)
    return OffPool(difference, difference / sd, others.usual.degrees_of_freedom)


def off_their_pools(sets: Iterable[JoinedEvidence], joined: JoinedEvidence) -> float:
    """How far the session's other sets lie from their pools in the middle; 0 without another."""
    rest = [off_its_pool(other) for other in sets if other is not joined]
    known = [found.difference for found in rest if found is not None]
    return float(np.median(known)) if known else 0.0
