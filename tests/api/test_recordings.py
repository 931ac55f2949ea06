"""Recordings by the API: a file in, pulls ready for a session out, and nothing stored."""

import json

import pytest
from rest_framework.test import APIClient

from results.models import Pull, PullSet, Session, Upload
from tests import making
from tests.api.test_routes import SESSION
from tests.traces import trace

PEAKS = (100.5, 99.0, 101.0, 80.0, 83.25)


def recording(headings: str = "time [s];force [N]") -> str:
    """Five pulls one after the other, as a logger writes them."""
    lines, start = [headings], 0.0
    for peak in PEAKS:
        one = trace(peak)
        for time_s, force in zip(one["time_s"], one["force"], strict=True):
            lines.append(f"{start + time_s:.3f};{force:.2f}")
        start += one["time_s"][-1] + 3.0
    return "\n".join(lines)


@pytest.fixture
def read(owner):
    """Send a file as the owner."""
    client = APIClient()
    client.force_authenticate(owner.user)

    def read(body: str, query: str = "", form: str = "text/csv"):
        return client.post(f"/api/v1/recordings{query}", body.encode(), content_type=form)

    read.client = client
    return read


def test_its_pulls_make_a_session_without_one_number_retyped(read, owner):
    making.revision_of(owner)
    making.line("thin"), making.line("thick", label_N=180), making.connection("Blood")

    found = read(recording()).json()

    assert [pull["figures"]["peak_N"] for pull in found["pulls"]] == list(PEAKS)
    assert Session.objects.count() == Upload.objects.count() == 0
    document = json.loads(json.dumps(SESSION))
    traces = [pull["trace"] for pull in found["pulls"]]
    parts = (
        (document["baselines"][0], "line", traces[:3]),
        (document["pull_sets"][0], "join", traces[3:]),
    )
    for part, mode, of_part in parts:
        part["pulls"] = [{"failure_mode": mode, "trace": one} for one in of_part]
    answer = read.client.post("/api/v1/sessions", document, format="json")
    assert answer.status_code == 202, answer.content
    joined = Pull.objects.filter(pull_set=PullSet.objects.get()).order_by("number")
    assert [pull.reading_N for pull in joined] == list(PEAKS[3:])


def test_a_unit_that_nothing_says_is_asked_for_and_taken_as_an_answer(read):
    body = recording("time [s];force")

    asked = read(body)

    assert asked.status_code == 422
    assert [finding["field"] for finding in asked.json()["findings"]] == ["unit"]
    assert read(body, "?unit=lbf").json()["unit"] == "lbf"


@pytest.mark.parametrize(
    ("query", "field"),
    [("?unit=furlong", "unit"), ("?time_column=x", "time_column"), ("?colour=red", "colour")],
)
def test_an_answer_that_can_not_be_is_named(query, field, read):
    answer = read(recording(), query)

    assert answer.status_code == 422
    assert field in {finding["field"] for finding in answer.json()["findings"]}


def test_a_picture_is_no_recording(read):
    assert read("GIF89a", form="image/gif").status_code == 415


def test_a_stranger_is_asked_to_sign_in(db):
    answer = APIClient().post("/api/v1/recordings", recording(), content_type="text/csv")
    assert answer.status_code == 401
