"""What programs expect of an API beside its documents: headers, forms, orders, and what changed."""

import csv
import gzip
import io
from datetime import UTC, datetime, timedelta

import brotli
import pytest
from django.test import Client
from rest_framework.test import APIClient

from api import deprecation
from api.pagination import OVERLAP
from deploy.tools.openapi.release import document
from results.http_cache.shared import SHARED
from results.intake import amend
from results.models import Pool, PoolVersion, PullSet, Session, StalePool
from results.worker import embedded
from tests import making
from tests.api.leagues import league_of
from tests.people import client_of

LISTS = [
    path
    for path, operations in document()["paths"].items()
    if "limit" in {each["name"] for each in operations.get("get", {}).get("parameters", ())}
]


@pytest.fixture
def league(db) -> list[PullSet]:
    return league_of({"Blood": 80.0}, testers=4)


def rows_of(answer) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.content.decode(), newline="")))


def test_a_token_is_taken_by_either_word_and_refused_in_the_word_it_came_with(owner):
    token = client_of(owner)._credentials["HTTP_AUTHORIZATION"].removeprefix("Token ")
    for word in ("Token", "Bearer", "bearer"):
        answer = APIClient().get("/api/v1/me", HTTP_AUTHORIZATION=f"{word} {token}")
        assert answer.json()["handle"] == "owner"
    for word, named in (("Bearer", "Bearer"), ("Token", "Token")):
        refused = APIClient().get("/api/v1/me", HTTP_AUTHORIZATION=f"{word} wrong")
        assert (refused.status_code, refused["WWW-Authenticate"]) == (401, named)


def test_every_link_of_the_root_answers_and_every_template_is_of_an_address(as_moderator):
    root = as_moderator.get("/api/v1/")
    links = root.json()
    templates = links.pop("templates")
    for name, link in links.items():
        answer = as_moderator.get(link)
        assert answer.status_code in (200, 401, 405), (name, answer.status_code)
    paths = {path.rstrip("/") for path in document()["paths"]} - {"/api/v1"}
    for template in templates.values():
        assert template.removeprefix("http://testserver").partition("{?")[0] in paths
    assert f'<{links["schema"]}>; rel="service-desc"' in root["Link"]


def test_a_page_elsewhere_may_read_what_anybody_may_and_send_nothing(owner):
    elsewhere = {"HTTP_ORIGIN": "https://angling.example"}
    asked = {**elsewhere, "HTTP_ACCESS_CONTROL_REQUEST_METHOD": "POST"}
    allowed = APIClient().options("/api/v1/rigs", **asked)
    assert allowed.status_code == 204
    assert allowed["Access-Control-Allow-Methods"] == "GET, HEAD"
    assert "Authorization" not in allowed["Access-Control-Allow-Headers"]

    read = APIClient().get("/api/v1/rigs", **elsewhere)
    assert read["Access-Control-Allow-Origin"] == "*"
    assert "Link" in read["Access-Control-Expose-Headers"]
    assert "Access-Control-Allow-Credentials" not in read
    own = client_of(owner).get("/api/v1/me", **elsewhere)
    assert "Access-Control-Allow-Origin" not in own
    sent = client_of(owner).post("/api/v1/lines", {"name": "new"}, format="json", **elsewhere)
    assert "Access-Control-Allow-Origin" not in sent
    assert "Access-Control-Allow-Origin" not in APIClient().get("/", **elsewhere)


def test_what_is_a_persons_own_is_kept_by_no_one_between(as_stranger, as_owner):
    for client, said in ((as_stranger, SHARED), (as_owner, "private, no-cache")):
        answer = client.get("/api/v1/pools")
        assert answer["Cache-Control"] == said
        assert {"Accept", "Authorization", "Cookie"} <= set(answer["Vary"].split(", "))
    for refused in ("/api/v1/rigs?limit=0", "/api/v1/pools/999"):
        assert as_stranger.get(refused)["Cache-Control"] == "public, no-cache"
    sent = as_owner.post("/api/v1/notices/read")
    assert sent["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("accepted", "coding"),
    [
        ("gzip, deflate, br, zstd", "br"),
        ("br", "br"),
        ("br;q=0.5, gzip;q=0.5", "br"),
        ("br;q=0.2, gzip", "gzip"),
        ("br;q=0, gzip", "gzip"),
        ("gzip", "gzip"),
        ("br;q=0", None),
        ("identity", None),
    ],
)
def test_an_answer_is_packed_as_its_reader_likes_best(league, accepted, coding):
    plain = Client().get("/api/v1/pools")
    packed = Client().get("/api/v1/pools", HTTP_ACCEPT_ENCODING=accepted)
    unpack = {"br": brotli.decompress, "gzip": gzip.decompress, None: bytes}[coding]
    assert packed.get("Content-Encoding") == coding
    assert unpack(packed.content) == plain.content
    assert packed["Content-Length"] == str(len(packed.content))
    assert packed["ETag"].removeprefix("W/") == plain["ETag"]
    assert packed["ETag"].startswith("W/") == (coding is not None)


def test_strangers_are_answered_in_gzip_and_who_is_signed_in_is_not(league, owner):
    zipped = {"HTTP_ACCEPT_ENCODING": "gzip"}
    for address in ("/api/v1/pools", "/"):
        plain = Client().get(address)
        packed = Client().get(address, **zipped)
        assert packed["Content-Encoding"] == "gzip"
        assert "Accept-Encoding" in packed["Vary"]
        assert len(packed.content) < len(plain.content) * 0.8
        assert gzip.decompress(packed.content)[:200] == plain.content[:200]
    again = Client().get(
        "/api/v1/pools",
        HTTP_IF_NONE_MATCH=Client().get("/api/v1/pools", **zipped)["ETag"],
        **zipped,
    )
    assert again.status_code == 304

    signed_in = Client()
    signed_in.force_login(owner.user)
    for address in ("/bench/", "/api/v1/pools"):
        answer = signed_in.get(address, HTTP_ACCEPT_ENCODING="gzip, br")
        assert answer.status_code == 200
        assert "Content-Encoding" not in answer, address


def test_every_list_is_answered_as_csv_with_the_members_asked_for(league, moderator):
    session = league[0].session
    numbers = {
        "pools": Pool.objects.get().pk,
        "pull-sets": league[0].pk,
        "rigs": session.revision.rig_id,
        "revisions": session.revision_id,
    }
    client = client_of(moderator)
    for path in LISTS:
        address = path.replace("{id}", str(numbers.get(path.split("/")[3])))
        address = address.replace("{number}", "1")
        in_json = client.get(address).json()["results"]
        by_name = client.get(address, HTTP_ACCEPT="text/csv")
        assert by_name["Content-Type"] == "text/csv; charset=utf-8"
        assert by_name.content == client.get(address, {"format": "csv"}).content, path
        sheet = rows_of(by_name)
        assert len(sheet) == len(in_json)
        if in_json:
            whole = {name for name, value in in_json[0].items() if not isinstance(value, dict)}
            assert whole <= set(sheet[0]), path
            first = next(iter(in_json[0]))
            few = client.get(address, {"fields": first}).json()["results"]
            assert [set(row) for row in few] == [{first}] * len(in_json)
    refused = client.get("/api/v1/rigs?fields=name,colour")
    [finding] = refused.json()["findings"]
    assert (refused.status_code, finding["found"]) == (422, "colour")


def test_text_of_a_sheet_is_no_formula_and_a_refusal_stays_a_problem(owner, as_owner):
    making.line("=1+1")
    sheet = as_owner.get("/api/v1/lines?format=csv")
    assert [row["name"] for row in rows_of(sheet)] == ["'=1+1"]
    refused = as_owner.get("/api/v1/lines?limit=0", HTTP_ACCEPT="text/csv")
    assert refused["Content-Type"] == "application/problem+json"
    assert refused.json()["status"] == 422
    one = as_owner.get("/api/v1/me", HTTP_ACCEPT="text/csv")
    assert one.status_code == 406


def test_a_list_is_ordered_as_asked_and_says_which_orders_there_are(as_stranger, db):
    league_of({"Blood": 80.0, "Tripled": 90.0, "Albright": 70.0}, testers=3)

    def names(ordering: str) -> list[str]:
        rows = as_stranger.get("/api/v1/pools", {"ordering": ordering}).json()["results"]
        return [row["connection"] for row in rows]

    assert names("efficiency") == ["Albright", "Blood", "Tripled"]
    assert names("-efficiency") == ["Tripled", "Blood", "Albright"]
    assert names("testers,-id") == names("-id")
    refused = as_stranger.get("/api/v1/pools", {"ordering": "colour"})
    [finding] = refused.json()["findings"]
    assert (refused.status_code, finding["found"]) == (422, "colour")
    assert "efficiency, testers" in finding["expected"]


def test_pages_link_to_their_neighbours(as_stranger, league):
    address = f"/api/v1/pools/{Pool.objects.get().pk}/sets?limit=2&offset=1"
    page = as_stranger.get(address)
    for rel, member in (("next", "next"), ("prev", "previous")):
        assert f'<{page.json()[member]}>; rel="{rel}"' in page["Link"]
    assert "Link" not in as_stranger.get(address.replace("limit=2&offset=1", ""))


@pytest.mark.usefixtures("planted_past")
def test_what_changed_since_an_answer_is_in_the_next_one_though_it_showed_late(as_stranger, league):
    """What bears an earlier time and showed after the answer is in the next one."""
    for address in ("/api/v1/pools", "/api/v1/sessions"):
        first = as_stranger.get(address).json()
        until = datetime.fromisoformat(first["changed_until"])
        assert until <= datetime.now(UTC) - OVERLAP + timedelta(seconds=1)
    long_ago = datetime(2026, 3, 1, tzinfo=UTC)
    PoolVersion.objects.update(computed_at=long_ago)
    Session.objects.update(received_at=long_ago)
    league[0].state_changes.model.objects.update(at=long_ago)

    def changed(address: str) -> list[int]:
        answer = as_stranger.get(address, {"changed_since": first["changed_until"]})
        return [row["id"] for row in answer.json()["results"]]

    assert changed("/api/v1/pools") == changed("/api/v1/sessions") == []
    # Stored before the answer, seen only after it: its transaction took a minute.
    late = datetime.now(UTC) - timedelta(minutes=1)
    Session.objects.filter(pk=league[1].session_id).update(received_at=late)
    StalePool.objects.create(pool=Pool.objects.get(), why="another set", marked_at=late)
    assert changed("/api/v1/sessions") == [league[1].session_id]
    assert changed("/api/v1/pools") == [Pool.objects.get().pk]


def test_pages_of_changes_miss_no_row_though_another_vanishes_meanwhile(as_stranger, league):
    page = as_stranger.get("/api/v1/sessions?changed_since=2026-01-01T00:00:00Z&limit=2").json()
    seen = [row["id"] for row in page["results"]]
    first = league[0].session
    amend.withdraw(first, first.contributor, "the scale stuck")
    embedded.drain()
    while page["next"]:
        page = as_stranger.get(page["next"]).json()
        seen += [row["id"] for row in page["results"]]
    assert seen == [pull_set.session_id for pull_set in league]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("since=31.1.2026", "a date, as 2026-01-31"),
        ("until=2026-01-31T10:00", "a date, as 2026-01-31"),
        ("changed_since=yesterday", "a time in UTC, as 2026-01-31T18:00:00Z"),
    ],
)
def test_a_refusal_of_a_date_says_how_to_write_one(query, expected, as_stranger, db):
    [finding] = as_stranger.get(f"/api/v1/sessions?{query}").json()["findings"]
    assert finding["expected"] == expected


def test_a_date_of_a_document_too(as_owner, owner):
    revision = making.revision_of(owner)
    sent = {"made_on": "4 Oct", "what_changed": "tape", "why": "it slid"}
    refused = as_owner.post(f"/api/v1/rigs/{revision.rig_id}/revisions", sent, format="json")
    [finding] = refused.json()["findings"]
    assert (finding["field"], finding["expected"]) == ("made_on", "a date, as 2026-01-31")


def test_an_operation_that_will_go_says_so_a_year_before(as_stranger, db, monkeypatch):
    since, until = datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 2, tzinfo=UTC)
    notice = deprecation.Notice(since, until)
    monkeypatch.setitem(deprecation.DEPRECATED, "GET api:clubs", notice)

    answer = as_stranger.get("/api/v1/clubs")
    assert answer["Deprecation"] == f"@{int(since.timestamp())}"
    assert answer["Sunset"] == "Sun, 02 Jan 2028 00:00:00 GMT"
    assert 'rel="deprecation"' in answer["Link"]
    assert "Deprecation" not in as_stranger.get("/api/v1/rigs")
    assert document()["paths"]["/api/v1/clubs"]["get"]["deprecated"] is True
    with pytest.raises(ValueError, match="365 days"):
        deprecation.Notice(since, until - timedelta(days=30))


def test_nothing_of_v1_is_on_shorter_notice_than_a_year():
    for notice in deprecation.DEPRECATED.values():
        assert notice.until - notice.since >= deprecation.LEAST_NOTICE


@pytest.mark.parametrize("address", ["lines", "rigs", "connections", "contributors"])
def test_a_list_that_does_not_know_what_changed_says_so(as_stranger, db, address):
    """Else a program that syncs takes all rows for the changed ones."""
    answer = as_stranger.get(f"/api/v1/{address}?changed_since=2026-01-01T00:00:00Z")
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "changed_since"
