"""Sessions over the API: sent, read, amended, withdrawn."""

import json

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

from results.models import Session
from tests.intake.conftest import RIGHT, sheet

SESSIONS = "/api/v1/sessions"


@pytest.fixture
def post(as_owner, bench):
    def post(sent, address=SESSIONS, client=as_owner, form="text/csv", **headers):
        if isinstance(sent, dict):
            sent, form = json.dumps(sent), "application/json"
        return client.post(address, sent, content_type=form, headers=headers)

    return post


@pytest.fixture
def stored(post) -> dict:
    """The session that is right, as everyone reads it."""
    receipt = post(RIGHT)
    return {**receipt.json(), "id": int(receipt.json()["session"].rpartition("/")[2])}


def test_an_upload_is_answered_202_with_its_job_and_when_to_ask(post, right):
    answer = post(right)

    assert answer.status_code == 202
    assert answer["Location"] == answer.json()["job"]["url"]
    assert answer.json()["job"]["state"] == "queued"
    assert answer["Retry-After"] == "1"


def test_a_sheet_is_taken_as_well(post):
    assert post(sheet(), form="text/csv; charset=utf-8").status_code == 202


def test_a_stranger_reads_a_session_with_every_pull_voids_included(stored, as_stranger):
    session = as_stranger.get(stored["session"]).json()

    assert session["contributor"] == "owner"
    pulls = session["pull_sets"][0]["pulls"]
    assert pulls[2]["reading"] == {
        "written": "15,5",
        "unit": "lbf",
        "N": pytest.approx(15.5 * 4.4482216152605),
    }
    assert (pulls[3]["failure_mode"], pulls[3]["reading"]["N"]) == ("void", None)
    assert (session["pull_count"], session["discarded_count"]) == (8, 1)
    assert session["jobs"][0]["url"] == stored["job"]["url"]


def test_a_session_shows_its_efficiencies_once_the_job_is_done(stored, as_stranger, drain):
    before = as_stranger.get(stored["session"]).json()["pull_sets"][0]["figures"]
    drain()
    after = as_stranger.get(stored["session"]).json()["pull_sets"][0]["figures"]

    assert before is None
    assert after["interval"]["low"] < after["efficiency"] < after["interval"]["high"]


def test_sending_needs_a_token(post, right, as_stranger):
    assert post(right, client=as_stranger).status_code == 401


def test_a_dry_run_answers_200_with_efficiencies_and_stores_nothing(post, right):
    answer = post(right, f"{SESSIONS}?dry_run=true")

    assert answer.status_code == 200
    (found,) = answer.json()["sets"]
    assert found["interval"]["low"] < found["efficiency"] < found["interval"]["high"]
    assert not Session.objects.exists()


def test_a_dry_run_names_the_same_mistakes(post):
    wrong = sheet().replace("thick", "thik")

    answers = [post(wrong, address).json() for address in (SESSIONS, f"{SESSIONS}?dry_run=true")]

    assert answers[0]["findings"] == answers[1]["findings"] != []


def test_an_unclear_dry_run_is_refused(post, right):
    answer = post(right, f"{SESSIONS}?dry_run=maybe")

    assert answer.status_code == 422
    assert answer.json()["findings"][0]["expected"] == "true or false"


@pytest.mark.parametrize(
    ("body", "form", "status", "kind"),
    [
        (b"{", "application/json", 400, "unreadable"),
        (b'{"rig": 1}', "application/json", 422, "invalid"),
        (b"rig\n", "text/csv", 422, "invalid"),
        (b"<session/>", "application/xml", 415, "unsupported-media-type"),
        (b"rig=1", "application/x-www-form-urlencoded", 415, "unsupported-media-type"),
        (b" " * (10 * 1024 * 1024 + 1), "application/json", 413, "too-large"),
    ],
)
def test_what_can_not_be_taken_is_a_problem_of_its_kind(post, body, form, status, kind):
    answer = post(body, form=form)

    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"].endswith(kind)


def test_a_resend_under_its_key_is_answered_alike(post, right):
    first = post(right, **{"Idempotency-Key": "monday"})
    again = post(right, **{"Idempotency-Key": "monday"})

    assert (first.status_code, first.json()) == (again.status_code, again.json())


def test_another_body_under_the_key_is_422_and_the_same_session_under_another_key_409(post, right):
    post(right, **{"Idempotency-Key": "monday"})

    assert post(right, **{"Idempotency-Key": "tuesday"}).status_code == 409
    right["note"] = "changed"
    assert post(right, **{"Idempotency-Key": "monday"}).status_code == 422


def test_the_owner_and_a_moderator_get_the_original_byte_for_byte(
    post, as_owner, as_moderator, as_other, as_stranger
):
    body = ("\ufeff" + sheet().replace("\n", "\r\n")).encode()
    original = post(body).json()["session"] + "/original"

    for client in (as_owner, as_moderator):
        answer = client.get(original)
        assert answer.content == body
        assert answer["Content-Type"] == "text/csv"
        assert answer["Content-Disposition"].endswith('.csv"')
    assert as_other.get(original).status_code == 403
    assert as_stranger.get(original).status_code == 401


def test_an_amendment_shows_both_versions_and_what_links_them(post, stored, as_stranger, as_owner):
    answer = post(
        {**RIGHT, "unit": "kg"}, f"{stored['session']}/versions?reason=kilograms%20all%20along"
    )

    assert answer.status_code == 202
    new, old = (as_stranger.get(each["session"]).json() for each in (answer.json(), stored))
    assert (new["version"], new["replaces"]) == (2, stored["session"])
    assert (old["standing"], old["replaced_by"]) == ("replaced", answer.json()["session"])
    assert "standing_reason" not in old
    own = as_owner.get(stored["session"]).json()
    assert own["standing_reason"] == "kilograms all along"


def test_an_amendment_needs_its_reason(post, stored):
    answer = post({**RIGHT, "unit": "kg"}, f"{stored['session']}/versions")

    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "reason"


def test_a_withdrawn_session_is_seen_by_its_owner_and_moderators_only(
    post, stored, as_owner, as_moderator, as_stranger, as_other
):
    answer = post({"reason": "the scale stuck"}, f"{stored['session']}/withdrawal")

    assert (answer.status_code, answer.json()["standing"]) == (200, "withdrawn")
    for client, status in ((as_owner, 200), (as_moderator, 200), (as_other, 404)):
        assert client.get(stored["session"]).status_code == status
    assert as_stranger.get(SESSIONS, {"standing": "withdrawn"}).json()["count"] == 0
    assert as_owner.get(SESSIONS, {"standing": "withdrawn"}).json()["count"] == 1


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ({}, 1),
        ({"contributor": "OWNER"}, 1),
        ({"contributor": "other"}, 0),
        ({"since": "2026-01-11"}, 0),
        ({"until": "2026-01-10"}, 1),
        ({"standing": "replaced"}, 0),
    ],
)
def test_sessions_are_listed_by_contributor_day_and_standing(stored, as_stranger, query, count):
    assert as_stranger.get(SESSIONS, query).json()["count"] == count


def test_an_unknown_filter_is_refused(as_stranger, db):
    assert as_stranger.get(SESSIONS, {"colour": "red"}).status_code == 422


def test_the_list_and_a_session_take_as_many_queries_however_much_there_is(
    post, as_stranger, django_assert_num_queries
):
    for day in range(1, 4):
        sets = [{**RIGHT["pull_sets"][0], "label": f"set {each}"} for each in range(day)]
        last = post({**RIGHT, "pulled_on": f"2026-01-0{day}", "pull_sets": sets}).json()

    with django_assert_num_queries(3):
        assert as_stranger.get(SESSIONS).json()["count"] == 3
    with django_assert_num_queries(7):
        assert len(as_stranger.get(last["session"]).json()["pull_sets"]) == 3


def test_an_upload_takes_as_few_statements_however_large_it_is(post):
    plain = {**RIGHT["pull_sets"][0], "parameters": {}}
    sent = []
    for sets in (1, 4):
        of_that_many = [{**plain, "label": f"set {number}"} for number in range(sets)]
        with CaptureQueriesContext(connection) as statements:
            answer = post({**RIGHT, "pulled_on": f"2026-01-0{sets}", "pull_sets": of_that_many})
        assert answer.status_code == 202
        sent.append([statement["sql"] for statement in statements])

    assert len(sent[0]) == len(sent[1])
    # The token, its groups and the tester; revisions, lines and joins; and under the lock, what may
    # have changed: whether the account is open, then its suspension and the revision's standing.
    assert len([sql for sql in sent[1] if sql.startswith("SELECT")]) == 8


@pytest.mark.skipif(settings.EMBEDDED, reason="SQLite is not written by COPY")
def test_a_disk_that_fills_up_is_reported_and_nothing_is_half_stored(post, right, as_owner):
    as_owner.raise_request_exception = False
    with connection.cursor() as cursor:
        cursor.execute("""
            CREATE FUNCTION fill_up() RETURNS trigger LANGUAGE plpgsql AS
            $$ BEGIN RAISE EXCEPTION USING ERRCODE = 'disk_full'; END $$
        """)
        cursor.execute(
            "CREATE TRIGGER full_disk BEFORE INSERT ON results_pull EXECUTE FUNCTION fill_up()"
        )

    answer = post(right)

    assert answer.status_code == 503
    assert answer.json()["type"] == "/problems/unavailable"
    assert not Session.objects.exists()
