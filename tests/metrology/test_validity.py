"""Whether a baseline or a calibration may be used is said in words."""

from dataclasses import replace
from datetime import date

import pytest

from rigs.metrology.validity import BaselineFacts, baseline_validity, calibration_validity

DAY = date(2026, 1, 10)
GOOD = BaselineFacts(
    parted_in_free_length=5,
    same_revision=True,
    same_spool=True,
    same_state=True,
    pulled_on=DAY,
    needed_on=DAY,
)


# The rules are common practice, no source.
def test_a_baseline_of_the_day_is_valid_and_its_own():
    found = baseline_validity(GOOD)
    assert found.valid
    assert not found.borrowed


def test_a_baseline_of_last_month_is_borrowed_and_said_to_be():
    found = baseline_validity(replace(GOOD, pulled_on=date(2025, 12, 11)))
    assert found.valid
    assert found.borrowed


@pytest.mark.parametrize(
    ("change", "reason"),
    [({"parted_in_free_length": 2}, "2 straight pulls parted"),
     ({"same_revision": False}, "another revision"),
     ({"same_spool": False}, "another spool"),
     ({"same_state": False}, "another state"),
     ({"pulled_on": date(2025, 12, 10)}, "31 days away"),
     ({"pulled_on": date(2026, 2, 10)}, "31 days away")],
)  # fmt: skip
def test_each_broken_rule_is_named(change, reason):
    found = baseline_validity(replace(GOOD, **change))
    assert not found.valid
    assert len(found.reasons_against) == 1
    assert reason in found.reasons_against[0]


def test_all_that_is_wrong_is_said_at_once():
    facts = replace(GOOD, parted_in_free_length=0, same_revision=False, same_spool=False)
    assert len(baseline_validity(facts).reasons_against) == 3


# 26 months at most, a year is usual: ISO 7500-1 (from memory).
@pytest.mark.parametrize(
    ("calibrated_on", "standing"),
    [(date(2026, 1, 11), "after the session"), (DAY, "valid"), (date(2025, 1, 10), "valid"),
     (date(2025, 1, 9), "due"), (date(2023, 11, 20), "due"), (date(2023, 11, 9), "expired")],
)  # fmt: skip
def test_a_calibration_stands_as_its_age_says(calibrated_on, standing):
    assert calibration_validity(calibrated_on, DAY) == standing
