"""May this baseline, this calibration be used? Rules, each answered in words."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

LEAST_STRAIGHT_PULLS = 3
"""Straight pulls that parted in the free length (common practice, no source)."""

BORROWED_WITHIN_DAYS = 30
"""How far away in time a baseline may be borrowed from (common practice, no source)."""

CALIBRATE_AGAIN_DAYS, CALIBRATION_ENDS_DAYS = 365, 791
"""A year is usual, 26 months the most (ISO 7500-1)."""

CalibrationValidity = Literal["valid", "due", "expired", "after the session"]


@dataclass(frozen=True)
class BaselineFacts:
    """What decides whether a baseline may stand under a pull set."""

    parted_in_free_length: int
    same_revision: bool
    same_spool: bool
    same_state: bool
    pulled_on: date
    needed_on: date


@dataclass(frozen=True)
class BaselineValidity:
    """Whether a baseline may be used, why not, and whether it is borrowed from another day."""

    reasons_against: tuple[str, ...]
    borrowed: bool

    @property
    def valid(self) -> bool:
        return not self.reasons_against


def baseline_validity(facts: BaselineFacts) -> BaselineValidity:
    """At least three parted pulls, same revision, spool and state, same day or within 30 days."""
    days = abs((facts.needed_on - facts.pulled_on).days)
    parted = facts.parted_in_free_length
    rules = (
        (
            parted >= LEAST_STRAIGHT_PULLS,
            f"{parted} straight pulls parted in the free length, "
            f"expected at least {LEAST_STRAIGHT_PULLS}",
        ),
        (facts.same_revision, "pulled on another revision of the rig"),
        (facts.same_spool, "pulled from another spool"),
        (facts.same_state, "pulled in another state (dry, wetted or soaked)"),
        (
            days <= BORROWED_WITHIN_DAYS,
            f"pulled {days} days away, expected at most {BORROWED_WITHIN_DAYS}",
        ),
    )
    return BaselineValidity(tuple(reason for kept, reason in rules if not kept), borrowed=days > 0)


def calibration_validity(calibrated_on: date, session_on: date) -> CalibrationValidity:
    """Whether a calibration is valid on the day of a session."""
    age = (session_on - calibrated_on).days
    if age < 0:
        return "after the session"
    if age > CALIBRATION_ENDS_DAYS:
        return "expired"
    return "due" if age > CALIBRATE_AGAIN_DAYS else "valid"
