"""A dry run: what would be stored, and what would come of it."""

import json

import pytest

from results.intake import dry_run, receive
from results.models import Job, NormalisedSet, Session, Upload
from results.worker.embedded import drain
from rigs.models import Line
from rigs.refusals import Invalid
from tests import making


@pytest.fixture
def preview(owner, bench):
    def preview(document):
        return dry_run(owner, json.dumps(document).encode(), "application/json")

    return preview


def test_a_dry_run_counts_and_stores_nothing(preview, right):
    found = preview(right)

    assert (found.baselines, found.pull_sets, found.pulls) == (1, 1, 8)
    assert found.sets[0].failure_modes == {"join": 2, "slip": 1, "void": 1}
    assert [model.objects.count() for model in (Session, Upload, Job)] == [0, 0, 0]


def test_its_efficiencies_are_those_that_the_job_then_stores(preview, send, right):
    found = preview(right).sets[0]

    send(right)
    drain()

    stored = NormalisedSet.objects.get()
    assert found.efficiency == pytest.approx(stored.efficiency, rel=1e-12)
    assert (found.interval_low, found.interval_high) == pytest.approx(
        (stored.interval_low, stored.interval_high), rel=1e-12
    )
    assert found.reference == "thin, spool A"


def test_a_set_without_an_efficiency_says_why(preview, right):
    for pull in right["pull_sets"][0]["pulls"][:3]:
        pull["failure_mode"] = "grip"

    found = preview(right).sets[0]

    assert found.efficiency is None
    assert found.why_not.startswith("these pulls give no strength: 0 of 3 loads are exact")


def test_mistakes_are_refused_as_they_would_be(preview, right):
    right["state"] = "damp"

    with pytest.raises(Invalid, match="1 to correct"):
        preview(right)


def warnings(found) -> list[tuple[str, str, str]]:
    return [(each.row, each.field, each.found) for each in found.warnings]


def test_a_baseline_below_its_label_is_remarked_on(preview, right):
    Line.objects.filter(name="thin").update(label_strength_written="90 N")
    right["baselines"][0]["pulls"] = [
        {"reading": reading, "failure_mode": "line"} for reading in (19.0, 19.2, 19.4)
    ]

    (warning,) = preview(right).warnings

    assert (warning.row, warning.field) == ("baselines[0]", "reading")
    assert warning.found == "thin, spool A parts at 19.2 lbf"
    assert warning.expected == "at least its label strength, 20.23 lbf (90 N)"


def test_sets_that_differ_as_pounds_and_newtons_do_are_remarked_on(preview, right):
    other = {**right["pull_sets"][0], "label": "set 2"}
    other["pulls"] = [
        {"reading": round(reading / 4.448, 1), "failure_mode": "join"} for reading in (15, 16, 15.5)
    ]
    right["pull_sets"].append(other)

    (warning,) = warnings(preview(right))

    assert warning[:2] == ("pull_sets[0]", "reading")
    assert warning[2] == "4.45 times 'set 2'"


def test_sets_that_differ_as_joins_do_are_not_remarked_on(preview, right):
    other = {**right["pull_sets"][0], "label": "set 2"}
    other["pulls"] = [{"reading": reading, "failure_mode": "join"} for reading in (7.5, 8.0, 8.5)]
    right["pull_sets"].append(other)

    assert warnings(preview(right)) == []


def test_a_reading_above_capacity_is_remarked_on(preview, right, bench):
    bench.capacity_N = 92
    bench.save()

    assert warnings(preview(right)) == [("baselines[0].pulls[1]", "reading", "21.0 lbf (93.41 N)")]


def test_a_day_before_the_revision_was_made_is_remarked_on(preview, right):
    right["pulled_on"] = "2025-08-01"

    assert warnings(preview(right)) == [("", "pulled_on", "2025-08-01")]


def test_on_a_rig_of_another_zero_the_efficiency_uses_its_calibration(preview, right, bench):
    plain = preview(right).sets[0].efficiency
    making.calibrate(bench, gain=1.0, offset_N=-6.0)

    assert preview(right).sets[0].efficiency == pytest.approx(
        (plain * (93.4 - 1.1) + 6) / (93.4 + 6), rel=0.02
    )


def test_warnings_come_with_the_receipt_too(owner, bench, right):
    right["pulled_on"] = "2025-08-01"

    receipt = receive(owner, json.dumps(right).encode(), "application/json", None)

    assert receipt.created
    assert [warning.field for warning in receipt.warnings] == ["pulled_on"]
