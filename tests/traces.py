"""Traces for stories: force over time as a load cell prints it."""

from __future__ import annotations

from typing import Any

import numpy as np


def trace(
    peak: float,
    *,
    unit: str = "N",
    rate: float = 20.0,
    samples_per_s: float = 40.0,
    zero: float = 0.0,
    decimals: int = 2,
) -> dict[str, Any]:
    """One pull: a second of slack, a steady rise to ``peak`` at ``rate`` a second, a second after.

    The last sample of the rise is ``peak`` itself.
    """
    interval = 1 / samples_per_s
    rise = np.arange(peak, zero, -rate * interval)[::-1]
    slack = np.full(int(samples_per_s), zero)
    force = np.concatenate([slack, rise, slack])
    time_s = np.arange(force.size) * interval
    return {
        "unit": unit,
        "time_s": np.round(time_s, 4).tolist(),
        "force": np.round(force, decimals).tolist(),
    }
