"""What can be wrong with a recording, as codes and numbers; words are made where they are shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class FaultCode(StrEnum):
    CLOCK_RUNS_BACK = "clock_runs_back"
    """Numbers: `by_s`."""
    GAP = "gap"
    """Numbers: `seconds` without a sample, `usual_s` between two."""
    PEAK_IN_GAP = "peak_in_gap"
    """A gap that begins at the highest sample or ends there: the peak may lie in it. Numbers:
    `seconds` without a sample, `force_N` of the highest."""
    SATURATED = "saturated"
    """The top is flat where it should be sharp. Numbers: `force_N`, `samples` of it, `seconds`."""
    TOO_FEW_SAMPLES = "too_few_samples"
    """On the way up. Numbers: `samples`, `wanted`."""
    NO_RETURN_TO_ZERO = "no_return_to_zero"
    """Before the pull, or after it. Numbers: `force_N` above zero, `percent` of the peak."""
    SPIKE = "spike"
    """One sample far from both beside it. Numbers: `force_N`, `beside_N`."""
    RESTS_OFF_ZERO = "rests_off_zero"
    """Without load, over the whole recording. Numbers: `force_N`."""
    ZERO_MOVED = "zero_moved"
    """Before and after one pull, away from what it is at the others. Numbers: `force_N` and
    `others_N`."""
    TWO_PEAKS_ALIKE = "two_peaks_alike"
    """Numbers: `force_N` and `other_N`, `other_s`, and `valley_N` between them."""


@dataclass(frozen=True)
class Fault:
    """A fault at a sample; ``pull`` is the number of the part it is in, counted from 0."""

    code: FaultCode
    at_s: float
    index: int
    pull: int | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
