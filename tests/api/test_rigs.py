"""Rigs and revisions: who may tell what, and how it is told back."""

import pytest

from tests.api.documents import REVISION, register


def test_a_rig_comes_with_its_first_revision_in_one_document(as_owner):
    answer = as_owner.post("/api/v1/rigs", {"name": "bench", "revision": REVISION}, format="json")
    assert answer.status_code == 201
    assert answer.json()["owner"] == "owner"
    assert answer["Location"].endswith(f"/api/v1/rigs/{answer.json()['id']}")
    [revision] = answer.json()["revisions"]
    assert revision["number"] == 1
    assert revision["resolution"] == {"written": "0.1 lbf", "N": pytest.approx(0.44482216152605)}
    assert revision["free_length"] == {"written": "60 cm", "m": pytest.approx(0.6)}


def test_anyone_reads_a_rig_but_only_owner_and_moderator_see_where_it_stands(
    as_owner, as_stranger, as_other, as_moderator
):
    rig = register(as_owner)
    for reader, sees in [
        (as_owner, True),
        (as_moderator, True),
        (as_other, False),
        (as_stranger, False),
    ]:
        [revision] = reader.get(f"/api/v1/rigs/{rig['id']}").json()["revisions"]
        assert ("latitude_deg" in revision) is sees
        assert ("place" in revision) is sees


def test_a_stranger_is_asked_to_sign_in(as_stranger):
    answer = as_stranger.post("/api/v1/rigs", {}, format="json")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Token"
    assert answer.json()["type"] == "/problems/not-signed-in"


def test_every_mistake_of_a_rig_is_answered_at_once(as_owner):
    revision = {
        **REVISION,
        "resolution": "0.1 stone",
        "indicator": "guess",
        "latitude_deg": "nan",
        "colour": "blue",
    }
    answer = as_owner.post("/api/v1/rigs", {"revision": revision}, format="json")
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    findings = {(f["row"], f["field"]): f for f in answer.json()["findings"]}
    assert findings["", "name"]["found"] == "nothing"
    assert findings["revision", "resolution"]["found"] == "0.1 stone"
    assert "lbf" in findings["revision", "resolution"]["expected"]
    assert findings["revision", "indicator"]["expected"].startswith("one of: spring scale")
    assert findings["revision", "latitude_deg"]["found"] == "nan"
    assert findings["revision", "colour"]["expected"].startswith("no member of this name")


def test_a_name_is_taken_once_an_owner_in_whatever_letters(as_owner, as_other):
    register(as_owner, name="Bench")
    answer = as_owner.post("/api/v1/rigs", {"name": "bench", "revision": REVISION}, format="json")
    assert answer.status_code == 409
    assert answer.json()["findings"][0]["found"] == "bench"
    assert register(as_other, name="bench")["owner"] == "other"


def test_a_revision_says_what_changed_and_keeps_the_rest(as_owner):
    rig = register(as_owner)
    change = {
        "made_on": "2025-12-01",
        "what_changed": "rubber on the bollards",
        "why": "braid slid",
        "grip_cover": "rubber",
        "free_length": None,
    }
    answer = as_owner.post(f"/api/v1/rigs/{rig['id']}/revisions", change, format="json")
    assert answer.status_code == 201, answer.json()
    second = answer.json()
    assert (second["number"], second["grip_cover"]) == (2, "rubber")
    assert second["free_length"] is None
    assert second["resolution"]["written"] == REVISION["resolution"]
    listed = as_owner.get(f"/api/v1/rigs/{rig['id']}/revisions").json()["results"]
    assert [(r["number"], r["grip_cover"]) for r in listed] == [(1, "cork tape"), (2, "rubber")]


def test_a_revision_without_what_changed_and_why_is_refused(as_owner):
    rig = register(as_owner)
    answer = as_owner.post(
        f"/api/v1/rigs/{rig['id']}/revisions", {"made_on": "2025-12-01", "why": ""}, format="json"
    )
    assert answer.status_code == 422
    assert {f["field"] for f in answer.json()["findings"]} == {"what_changed", "why"}


@pytest.mark.parametrize(
    ("made_on", "expected"), [("2025-01-01", "not before"), ("2999-01-01", "not after today")]
)
def test_a_revision_has_a_day_between_the_latest_one_and_today(as_owner, made_on, expected):
    rig = register(as_owner)
    change = {"made_on": made_on, "what_changed": "x", "why": "y"}
    answer = as_owner.post(f"/api/v1/rigs/{rig['id']}/revisions", change, format="json")
    assert answer.status_code == 422
    assert expected in answer.json()["findings"][0]["expected"]


def test_no_one_revises_a_rig_of_someone_else(as_owner, as_other, as_moderator):
    rig = register(as_owner)
    change = {"made_on": "2025-12-01", "what_changed": "x", "why": "y"}
    for someone in (as_other, as_moderator):
        answer = someone.post(f"/api/v1/rigs/{rig['id']}/revisions", change, format="json")
        assert answer.status_code == 403
        assert answer.json()["type"] == "/problems/forbidden"


def test_rigs_are_listed_in_as_many_queries_however_many_there_are(
    as_owner, as_stranger, django_assert_num_queries
):
    for name in ("one", "two", "three", "four"):
        register(as_owner, name=name)
    with django_assert_num_queries(4):  # count, rigs with owners, revisions, accepted names
        assert as_stranger.get("/api/v1/rigs").json()["count"] == 4
