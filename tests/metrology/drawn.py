"""Recordings drawn by hand: what a story needs, and nothing that a rig would add."""

from __future__ import annotations

import numpy as np


def ramp(peak_N, *, rate=10.0, hertz=100, idle_s=3.0, zero_N=0.0):
    """Idle, a straight rise that breaks between two samples, and idle again."""
    rise = np.arange(0, peak_N / rate, 1 / hertz) * rate
    idle = np.zeros(round(idle_s * hertz))
    return np.concatenate([idle, rise, idle]) + zero_N


def clock(forces, hertz=100):
    return np.arange(len(forces)) / hertz


def through(*corners, hertz=100):
    """Force by straight lines through (second, newtons)."""
    seconds, newtons = zip(*corners, strict=True)
    times = np.arange(seconds[0], seconds[-1], 1 / hertz)
    return times, np.interp(times, seconds, newtons)
