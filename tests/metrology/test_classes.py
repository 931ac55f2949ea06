"""A tester learns which class the rig meets and what keeps it from a better one."""

import numpy as np
import pytest

from rigs.metrology.classes import CLASSES, reading_class
from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues, UnequalLengths

FORCES = np.repeat([40.0, 80.0, 120.0, 160.0, 200.0], 3)


def constructed(reference):
    return reference("force-reading-classes")["constructed_example"]["rows"]  # made up there


def test_the_limits_are_those_of_the_standard(reference):
    printed = reference("force-reading-classes")["limits_percent"]  # ISO 7500-1:2018 table 2
    ours = [
        (c.force_class, c.indication, c.repeatability, c.reversibility, c.zero, c.resolution)
        for c in CLASSES
    ]
    assert ours == [tuple(row[k] for k in ("cls", "q", "b", "v", "f0", "a")) for row in printed]


def test_every_force_of_the_constructed_calibration_has_its_errors_and_class(reference):
    rows = constructed(reference)
    found = reading_class(
        [row["force_N"] for row in rows for _ in row["readings_N"]],
        [reading for row in rows for reading in row["readings_N"]],
        resolution_N=0.1,
    )
    for row, at in zip(rows, found.forces, strict=True):
        assert at.indication == pytest.approx(row["q_percent"], rel=1e-9)
        assert at.repeatability == pytest.approx(row["b_percent"], rel=1e-9)
        assert at.resolution == pytest.approx(row["a_percent"], rel=1e-9)
        assert at.force_class == row["class"]
    assert found.force_class == 2


def test_why_not_a_better_class_names_the_error_the_force_and_the_limit(reference):
    rows = constructed(reference)
    found = reading_class(
        [row["force_N"] for row in rows for _ in row["readings_N"]],
        [reading for row in rows for reading in row["readings_N"]],
        resolution_N=0.1,
    )
    assert found.why_not_better == (
        "repeatability at 19.62 N is 1.02 percent, class 1 allows 1",
        "resolution at 19.62 N is 0.51 percent, class 1 allows 0.5",
    )


def test_a_perfect_rig_meets_the_best_class_and_nothing_is_in_its_way():
    found = reading_class(FORCES, FORCES, resolution_N=0.05)
    assert found.force_class == 0.5
    assert found.why_not_better == ()


def test_a_rig_that_reads_a_tenth_low_meets_no_class_and_is_reported_why():
    found = reading_class(FORCES, 0.9 * FORCES, resolution_N=0.05)
    assert found.force_class is None
    assert "indication at 40 N is -10 percent, class 3 allows 3" in found.why_not_better


def test_one_reading_at_each_force_is_too_little_for_a_class():
    found = reading_class(FORCES[::3], FORCES[::3], resolution_N=0.05)
    assert found.force_class is None
    assert "1 rising readings at 40 N, a class takes at least 3" in found.why_not_better
    found = reading_class(FORCES[:9], FORCES[:9], resolution_N=0.05)
    assert found.why_not_better[0] == "3 different forces, a class takes at least 5"


def test_falling_readings_and_a_zero_that_does_not_come_back_count():
    force = np.append(FORCES, [40.0, 80.0])
    falling = np.append(np.zeros(15, bool), [True, True])
    found = reading_class(force, np.append(FORCES, [41.0, 81.0]), 0.05, falling, zero_reading_N=0.5)
    assert found.forces[0].reversibility == pytest.approx(2.5)
    assert found.forces[2].reversibility is None
    assert found.forces[0].zero == pytest.approx(0.25)
    assert found.force_class == 3
    assert "reversibility at 40 N is 2.5 percent, class 2 allows 3" not in found.why_not_better
    assert "zero at 40 N is 0.25 percent, class 2 allows 0.2" in found.why_not_better


def test_readings_that_cannot_be_judged_are_refused():
    with pytest.raises(UnequalLengths):
        reading_class([40.0, 80.0], [40.0], 0.1)
    with pytest.raises(NotFinite):
        reading_class([40.0], [float("nan")], 0.1)
    with pytest.raises(NotPositive):
        reading_class([0.0], [0.0], 0.1)
    with pytest.raises(NotPositive):
        reading_class(FORCES, FORCES, 0.0)
    with pytest.raises(TooFewValues, match="no rising readings"):
        reading_class([40.0], [40.0], 0.1, falling=[True])
