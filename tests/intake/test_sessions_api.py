"""Sessions over the API: sent, read, amended, withdrawn."""

import json

import pytest

from tests.intake.conftest import sheet

SESSIONS = "/api/v1/sessions"


@pytest.fixture
def post(as_owner, bench):
    def post(sent, address=SESSIONS, client=as_owner, form=None, **headers):
        if isinstance(sent, dict):
            sent, form = json.dumps(sent), "application/json"
        return client.post(address, sent, content_type=form or "text/csv", headers=headers)

    return post


def test_an_upload_is_answered_202_with_its_job_and_when_to_ask(post, right):
    answer = post(right)

    assert answer.status_code == 202
    assert answer["Location"].endswith(answer.json()["job"]["url"].partition("/api/")[2])
    assert answer.json()["job"]["state"] == "queued"
    assert answer["Retry-After"] == "1"


def test_a_sheet_is_taken_as_well(post):
    assert post(sheet()).status_code == 202


def test_a_stranger_reads_a_session_with_every_pull_voids_included(post, right, as_stranger):
    url = post(right).json()["session"]

    session = as_stranger.get(url).json()

    assert session["contributor"] == "owner"
    pulls = session["pull_sets"][0]["pulls"]
    assert pulls[2]["reading"] == {
        "written": "15,5",
        "unit": "lbf",
        "N": pytest.approx(15.5 * 4.4482216152605),
    }
    assert pulls[3]["failure_mode"] == "void"
    assert (session["pull_count"], session["discarded_count"]) == (8, 1)


def test_sending_needs_a_token(post, right, as_stranger):
    assert post(right, client=as_stranger).status_code == 401
