"""Traces by the API: the samples come back as they were sent, to all who may see the set."""

import csv
import io
import json

import pytest
from rest_framework.test import APIClient

from results.intake import receive
from results.intake.amend import withdraw
from results.models import PullSet, Trace
from tests import making
from tests.api.test_routes import SESSION
from tests.traces import trace

FIRST, SECOND = trace(80.0, decimals=1), trace(83.25, unit="N", zero=0.5)
STARTED = "2026-01-10T18:00:00Z"


@pytest.fixture
def recorded(owner) -> PullSet:
    """A set of three pulls, of which two were recorded."""
    making.revision_of(owner)
    making.line("thin"), making.line("thick", label_N=180), making.connection("Blood")
    document = json.loads(json.dumps(SESSION))
    document["pull_sets"][0]["pulls"] = [
        {"failure_mode": "join", "trace": FIRST},
        {"reading": 82, "failure_mode": "join"},
        {"failure_mode": "join", "trace": {**SECOND, "started_at": STARTED}},
    ]
    receive(owner, json.dumps(document).encode(), "application/json", None)
    return PullSet.objects.get()


def test_the_samples_come_back_as_they_were_sent_in_the_order_of_the_pulls(recorded):
    rows = APIClient().get(f"/api/v1/pull-sets/{recorded.pk}/traces").json()["results"]

    assert [row["pull"] for row in rows] == [1, 3]
    for row, sent in zip(rows, (FIRST, SECOND), strict=True):
        assert (row["time_s"], row["force"], row["unit"]) == (
            sent["time_s"],
            sent["force"],
            sent["unit"],
        )
    assert rows[1]["peak_N"] == 83.25
    assert rows[1]["zero_before_N"] == pytest.approx(0.5)
    assert rows[1]["loading_rate_N_per_s"] == pytest.approx(20.0, rel=0.01)


def test_as_a_sheet_it_has_a_row_a_trace(recorded):
    answer = APIClient().get(f"/api/v1/pull-sets/{recorded.pk}/traces?format=csv")

    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [row["pull"] for row in rows] == ["1", "3"]
    assert json.loads(rows[0]["force"]) == FIRST["force"]


def test_when_it_was_recorded_is_for_its_tester_alone(recorded, owner):
    address = f"/api/v1/pull-sets/{recorded.pk}/traces"
    own = APIClient()
    own.force_authenticate(owner.user)

    assert own.get(address).json()["results"][1]["started_at"] == STARTED
    assert STARTED not in APIClient().get(address).content.decode()


def test_traces_of_a_session_that_was_withdrawn_are_gone_for_others(recorded, owner):
    withdraw(recorded.session, owner, "the scale stuck")

    assert APIClient().get(f"/api/v1/pull-sets/{recorded.pk}/traces").status_code == 404
    assert Trace.objects.count() == 2
