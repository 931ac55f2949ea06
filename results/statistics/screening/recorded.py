"""Force over time of a set's pulls as evidence: recorded by a load cell, copied, or computed.

A load cell is never quiet: on top of the load come its noise and the hand's. What it recorded of
two pulls therefore differs by more than the steps it writes in, and one recording that is another
but for its unit, its zero, or where it was cut does not. Readings with such traces were pulled,
however odd their digits are; a set without traces has nothing said of it. Ours, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.screening.check import Check, Level

Floats = NDArray[np.float64]

MOST_COMPARED = 400
"""Samples before the peak that are looked at."""
LEAST_COMPARED = 20
"""Two seconds of a display that shows ten a second."""
LOADED_FROM = 0.2
"""Share of the peak from which on a sample is of the rise."""
FOURTH = (1.0, -4.0, 6.0, -4.0, 1.0)
"""Weights of a fourth difference, which leaves little of any smooth rise; squares add to 70."""
ROUNDING = 12**-0.5
"""Standard deviation of rounding, in steps."""
LEAST_NOISE = 4.0
"""Roundings that noise has to come to for a trace to show that something was recorded."""
MOST_APART = 1.5
"""Roundings up to which two traces are one: noise apart comes to at least 5.6 of them, and to 3.7
where the fifth that lies farthest is left out."""
LEAST_TRIMMED = 40
"""Samples from which on a fifth is left out: a peak set to another reading hides no copy."""
MOST_SMOOTH = 2.0
"""Roundings up to which a trace has no noise of its own."""
FINEST_STEP = 2e-5
"""Of the peak: no load cell of a home rig is quiet to less than the fifty-thousandth part."""
SOURCE = "ours: simulated recorders of other noise laws"


@dataclass(frozen=True)
class Recorded:
    """The rise of one trace to its peak, in any unit, and the step it is written in."""

    rise: Floats
    step: float

    @property
    def noise(self) -> float:
        """Noise from sample to sample, in roundings; robust to slips. 0 for too short a rise."""
        if self.rise.size < LEAST_COMPARED:
            return 0.0
        fourth = np.convolve(self.rise, FOURTH, mode="valid")
        spread = 1.4826 * float(np.median(np.abs(fourth - np.median(fourth))))
        return float(spread / 70**0.5 / (self.step * ROUNDING))

    @property
    def is_noisy(self) -> bool:
        """Whether it shows the noise that every load cell writes."""
        return self.noise >= LEAST_NOISE

    @property
    def is_computed(self) -> bool:
        """Whether it is smoother than its own roundings, though these are finer than any cell."""
        fine = self.step <= FINEST_STEP * float(np.abs(self.rise).max(initial=0.0))
        return fine and self.rise.size >= LEAST_COMPARED and self.noise <= MOST_SMOOTH


def recorded(force: ArrayLike, step: float) -> Recorded:
    """The rise of a trace (n,) to its highest sample, its last `MOST_COMPARED` samples."""
    values = np.asarray(force, dtype=float)
    if not values.size:
        return Recorded(values, step)
    peak = int(np.argmax(values))
    before = values[: peak + 1]
    low = np.flatnonzero(before < LOADED_FROM * values[peak])
    first = int(low[-1]) + 1 if low.size else 0
    return Recorded(before[max(first, peak + 1 - MOST_COMPARED) :], step)


def is_same(one: Recorded, other: Recorded) -> bool:
    """Whether two traces are one but for unit, zero and cut: a straight line makes one the other.

    Only of traces that show noise: smooth rises of a steady winch may well be alike.
    """
    size = min(one.rise.size, other.rise.size)
    if size < LEAST_COMPARED or not (one.is_noisy and other.is_noisy):
        return False
    x, y = one.rise[-size:], other.rise[-size:]
    near = np.arange(size)
    for _ in range(5 if size >= LEAST_TRIMMED else 1):
        gain, zero = np.polyfit(x[near], y[near], 1)
        apart = np.abs(y - gain * x - zero)
        if size >= LEAST_TRIMMED:
            near = np.argsort(apart, kind="stable")[: size * 4 // 5]
    rms = float(np.sqrt(np.mean(apart[near] ** 2)))
    return rms <= MOST_APART * ROUNDING * float(np.hypot(other.step, gain * one.step))


def copied_traces(
    applies_to: str, traces: Sequence[Recorded], others: Sequence[tuple[str, Recorded]]
) -> Check | None:
    """How many traces of a series are another pull's, of it or of the named ``others``.

    None without a trace. Holds from the first on: noise does not come twice.
    """
    if not traces:
        return None
    copies, of = 0, ""
    for place, one in enumerate(traces):
        named = [("the same set", each) for each in traces[:place]] + list(others)
        found = next((name for name, each in named if is_same(one, each)), None)
        if found is not None:
            copies, of = copies + 1, found
    return Check(
        "copied traces",
        applies_to,
        float(copies),
        1.0,
        None,
        Level.HOLD if copies else Level.NONE,
        f"{copies} of its {len(traces)} traces, sample by sample, are those of another pull"
        + (f", of {of}." if copies else "."),
        SOURCE,
    )


def computed_traces(applies_to: str, traces: Sequence[Recorded]) -> Check | None:
    """How many traces of a series are smoother than any load cell; only marks. None without one."""
    if not traces:
        return None
    smooth = sum(one.is_computed for one in traces)
    return Check(
        "traces without noise",
        applies_to,
        float(smooth),
        1.0,
        None,
        Level.MARK if smooth else Level.NONE,
        f"{smooth} of its {len(traces)} traces are smoother than the steps they are written in, "
        "which are finer than a load cell can tell.",
        SOURCE,
        at_most=Level.MARK,
    )


def traces_of_its_own(applies_to: str, pulls: int, distinct: int) -> Check:
    """What speaks for a set: how many of its pulls have a noisy trace that is no other's.

    Never marks nor holds.
    """
    every = pulls > 0 and distinct == pulls
    return Check(
        "traces of its own",
        applies_to,
        float(distinct),
        float(pulls),
        None,
        Level.NONE,
        f"{distinct} of its {pulls} readings have a recording of their own, with a load cell's "
        "noise and no other pull's."
        + (" Checks for invented or copied readings don't hold it." if every else ""),
        SOURCE,
        at_most=Level.NONE,
    )
