"""Every bound is stated once: database, documents, their description and forms agree on it."""

import copy
import json
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, models, transaction
from django.utils import timezone

from api.rigs import RevisionDocument
from deploy.tools.openapi.release import document
from results.models import Pull, PullSet, Session, Trace
from results.pages.rigs.forms import CheckWeightForm, RigForm
from rigs.metrology import bounds
from rigs.metrology.bounds import EARLIEST_DAY, READING_N, Bounds, latest_day
from rigs.models import Calibration, CalibrationReading, Line, RigRevision
from tests import making
from tests.intake.conftest import HEADER, ROWS

WRITTEN = (Session, PullSet, Pull, Trace, RigRevision, Calibration, CalibrationReading, Line)
COMPUTED = {
    "calibration": {"degrees_of_freedom"},
    "calibrationreading": {"number", "u_mass_kg", "force_N"},
    "pull": {"number"},
    "pullset": {"judged_log_ratio"},
    "rigrevision": {"number", "version"},
    "session": {"version"},
    "trace": {"count"},
}
"""Columns that the service writes itself."""
NUMBERS = (models.FloatField, models.IntegerField, models.DateField)
STATED = {name: value for name, value in vars(bounds).items() if isinstance(value, Bounds)}


def bounded(condition: models.Q):
    """The columns that a condition compares with a number or a day."""
    for part in condition.children:
        if isinstance(part, models.Q):
            yield from bounded(part)
        elif part[0].rpartition("__")[2] in ("lte", "gte"):
            yield part[0].rpartition("__")[0]


@pytest.mark.parametrize("model", WRITTEN)
def test_every_number_and_day_that_people_write_is_bounded_in_the_database(model):
    checks = [one for one in model._meta.constraints if isinstance(one, models.CheckConstraint)]
    held = {column for check in checks for column in bounded(check.condition)}
    written = {
        field.name
        for field in model._meta.concrete_fields
        if isinstance(field, NUMBERS)
        and not isinstance(field, models.AutoField | models.DateTimeField)
    }
    assert written - held == COMPUTED.get(model._meta.model_name, set())


def test_database_api_and_form_hold_a_revision_to_the_same_bounds():
    """They are written once, by column; whatever names one of them again would differ in time."""
    numeric = models.FloatField | models.IntegerField
    written = {f.name for f in RigRevision._meta.concrete_fields if isinstance(f, numeric)}
    assert set(bounds.OF_REVISION) == written - COMPUTED["rigrevision"] - {"id"}
    checks = [c for c in RigRevision._meta.constraints if isinstance(c, models.CheckConstraint)]
    document, form = RevisionDocument().fields, RigForm().fields
    for column, bound in bounds.OF_REVISION.items():
        ends = [end for check in checks for end in ends_of(check.condition, column)]
        assert set(ends) >= {("gte", bound.lowest), ("lte", bound.highest)}, column
        name = column if column in document else column.rpartition("_")[0]
        assert name in form
        field = document[name]
        answer = getattr(field, "bounds", None) or Bounds(field.min_value, field.max_value)
        assert answer == bound, column


def ends_of(condition: models.Q, column: str):
    """The ends that a condition holds a column to, by the way it compares."""
    for part in condition.children:
        if isinstance(part, models.Q):
            yield from ends_of(part, column)
        elif part[0].rpartition("__")[0] == column:
            yield part[0].rpartition("__")[2], part[1]


@pytest.fixture(scope="module")
def described() -> str:
    return json.dumps(document())


def numbers(schema: object):
    """Every pair of bounds of a schema."""
    if isinstance(schema, dict):
        low = schema.get("minimum", schema.get("exclusiveMinimum"))
        yield low, schema.get("maximum")
    parts = schema.values() if isinstance(schema, dict) else schema
    for part in parts if isinstance(schema, dict | list) else ():
        yield from numbers(part)


@pytest.mark.parametrize("name", STATED)
def test_every_bound_is_in_the_description_of_the_api(name, described):
    bound = STATED[name]
    in_words = str(bound) in described or f"{bound.times(1000)} l" in described
    assert in_words or (bound.lowest, bound.highest) in set(numbers(json.loads(described))), name


def test_the_days_are_in_the_description_of_the_api(described):
    assert described.count(f"from {EARLIEST_DAY} ") >= 3


@pytest.mark.parametrize(
    ("field", "bound", "unit"),
    [
        ("resolution", bounds.RESOLUTION_N, " N"),
        ("capacity", bounds.CAPACITY_N, " N"),
        ("free_length", bounds.FREE_LENGTH_m, " m"),
        ("lever_ratio", bounds.LEVER_RATIO, ""),
        ("sample_rate_Hz", bounds.SAMPLE_RATE_Hz, ""),
        ("time_to_break_s", bounds.USUAL_TIME_TO_BREAK_s, ""),
        ("latitude_deg", bounds.LATITUDE_deg, ""),
        ("height_m", bounds.HEIGHT_m, ""),
    ],
)
def test_a_form_of_a_rig_refuses_beyond_either_end(field, bound, unit, db):
    for value in (bound.lowest - 1, bound.highest * 1.01 + 1):
        form = RigForm({field: f"{value}{unit}"})
        assert form.errors[field] == [f"Expected {bound}{unit}."]


@pytest.mark.parametrize(
    ("field", "bound", "unit"),
    [
        ("mass", bounds.MASS_kg, " kg"),
        ("mass", bounds.WATER_m3.times(1000), " l"),
        ("tolerance", bounds.TOLERANCE_kg, " kg"),
        ("reading", bounds.CALIBRATION_READING_N, " N"),
    ],
)
def test_a_form_of_a_check_weight_refuses_beyond_either_end(field, bound, unit):
    for value in (bound.lowest - 1, bound.highest * 1.01):
        form = CheckWeightForm({"mass": "1 kg", "reading": "1 N", field: f"{value}{unit}"})
        assert form.errors[field] == [f"Expected {bound}{unit}."]


@pytest.mark.parametrize("reading", ["1e-320", "0.001", "1e-300", "-0.0", "20000.1", "1e300"])
@pytest.mark.parametrize("mode", ["join", "void"])
def test_a_reading_that_no_scale_shows_is_refused_in_a_document_and_a_sheet(
    reading, mode, refused, right
):
    right["unit"] = "N"
    right["pull_sets"][0]["pulls"][0] = {"reading": float(reading), "failure_mode": mode}
    *_, expected = refused(copy.deepcopy(right))[0]
    assert expected == f"a force {READING_N} N"
    rows = [*ROWS, f",,,,,,joined,set 1,,,,,,,,,,,,{reading} N,{mode},"]
    row, field, *_ = refused("\n".join([HEADER, *rows]))[0]
    assert (row, field) == ("10", "reading")


@pytest.mark.parametrize("mode", ["join", "void"])
def test_the_database_itself_takes_no_such_reading(mode, owner, db):
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [80.0, 84.0])
    for reading in (0.009, 20_001.0, float("inf")):
        pull = Pull(pull_set=pull_set, number=9, reading_N=reading, unit="N", failure_mode=mode)
        with pytest.raises(IntegrityError), transaction.atomic():
            pull.save()


@pytest.mark.parametrize("day", ["0001-01-01", "1949-12-31"])
def test_a_day_before_the_first_is_refused_everywhere(day, refused, right, as_owner, bench):
    right["pulled_on"] = day
    ((*_, found, expected),) = refused(right)
    assert (found, expected) == (day, "a day from 1950-01-01 on")
    rig = {"name": "old", "revision": {"made_on": day}}
    answer = as_owner.post("/api/v1/rigs", rig, format="json")
    assert answer.status_code == 422
    bench.made_on = date.fromisoformat(day)
    with pytest.raises(IntegrityError), transaction.atomic():
        bench.save()


def test_a_day_that_has_begun_somewhere_is_taken_and_the_next_is_not(send, refused, right):
    latest = latest_day(timezone.now())
    right["pulled_on"] = f"{latest + timedelta(days=1)}"
    ((_, field, *_),) = refused(right)
    assert field == "pulled_on"
    right["pulled_on"] = f"{latest}"
    assert send(right).created
