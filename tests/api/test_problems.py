"""Whatever goes wrong is told in one shape (RFC 9457), and never as a crash."""

import json

import pytest
from django.test import Client
from django.urls import path
from rest_framework.exceptions import Throttled
from rest_framework.test import APIClient
from rest_framework.views import APIView

from deploy.urls import urlpatterns as real_urls

MEMBERS = {"type", "title", "status", "detail", "instance", "findings"}  # RFC 9457, 3.1, and ours


class Broken(APIView):
    """A view with a fault in it, and one that has had enough."""

    def get(self, _request):
        raise RuntimeError("the password of the database is hunter2")

    def post(self, _request):
        raise Throttled(wait=7)


urlpatterns = [path("broken", Broken.as_view()), *real_urls]


def is_problem(answer, status: int, kind: str) -> dict:
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    shown = answer.json()
    assert set(shown) == MEMBERS
    assert (shown["status"], shown["type"]) == (status, f"/problems/{kind}")
    return shown


def test_an_address_that_is_none_is_a_problem_for_every_method(as_stranger):
    for method in ("get", "post", "put", "patch", "delete"):
        answer = getattr(as_stranger, method)("/api/v1/harbours")
        shown = is_problem(answer, 404, "not-found")
        assert shown["instance"] == "/api/v1/harbours"


@pytest.mark.parametrize("address", ["/api/", "/api/v1/pools", "/api/v2/pools", "/api/v1/no"])
@pytest.mark.parametrize("method", ["get", "post", "options"])
@pytest.mark.parametrize("host", ["testserver", "elsewhere.example"])
def test_whatever_goes_wrong_under_api_is_a_problem_before_any_view_too(address, method, host, db):
    answer = getattr(Client(HTTP_HOST=host), method)(address)
    if host == "elsewhere.example":
        is_problem(answer, 400, "bad-request")
    elif address != "/api/v1/pools":
        is_problem(answer, 404, "not-found")


@pytest.mark.parametrize("number", ["0", "999999", "9" * 30])
def test_a_number_that_nothing_has_is_not_found(as_stranger, number):
    for resource in ("rigs", "revisions", "lines", "connections", "pools", "pull-sets"):
        is_problem(as_stranger.get(f"/api/v1/{resource}/{number}"), 404, "not-found")


def test_a_method_that_an_address_does_not_take_names_those_it_takes(as_owner):
    answer = as_owner.delete("/api/v1/rigs")
    is_problem(answer, 405, "not-allowed")
    assert answer["Allow"] == "GET, POST, HEAD, OPTIONS"


def test_a_form_that_can_not_be_given_is_refused(as_stranger):
    answer = as_stranger.get("/api/v1/rigs", HTTP_ACCEPT="image/png")
    is_problem(answer, 406, "not-acceptable")


def test_a_form_that_is_not_taken_is_refused(as_owner):
    answer = as_owner.post("/api/v1/rigs", "name: bench", content_type="application/yaml")
    is_problem(answer, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b'{"name": NaN}',
        b'{"name": 1e999}',
        b'{"name": "\\ud800"}',
        b'{"name": "be\\u0000nch"}',
        b'{"be\\u0000nch": 1}',
        b'{"name": "\xff"}',
        b"[" * 100_000,
        b"[" * 40 + b"]" * 40,
    ],
)
def test_a_body_that_can_not_be_stored_is_unreadable(as_owner, body):
    answer = as_owner.post("/api/v1/rigs", body, content_type="application/json")
    is_problem(answer, 400, "unreadable")


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"1", b'"rig"', b"null", b'{"name": {}, "revision": 3}']
)
def test_json_of_another_shape_is_invalid(as_owner, body):
    answer = as_owner.post("/api/v1/rigs", body, content_type="application/json")
    assert is_problem(answer, 422, "invalid")["findings"]


def test_a_body_beyond_a_mebibyte_is_too_large(as_owner):
    body = json.dumps({"name": "x" * 1_100_000})
    answer = as_owner.post("/api/v1/rigs", body, content_type="application/json")
    is_problem(answer, 413, "too-large")


def test_a_body_without_a_length_is_not_taken_for_an_empty_one(db):
    shown = {"CONTENT_LENGTH": "", "HTTP_TRANSFER_ENCODING": "chunked"}
    answer = Client().generic("POST", "/api/v1/sessions", b"{}", "application/json", **shown)
    assert "send it with Content-Length" in is_problem(answer, 400, "unreadable")["detail"]


@pytest.mark.parametrize("address", ["/api/v1/pools?terminal=a%00b", "/api/v1/pools/%00"])
def test_a_nul_in_an_address_is_unreadable(as_stranger, address):
    is_problem(as_stranger.get(address), 400, "unreadable")


@pytest.mark.parametrize(
    ("header", "status", "kind"),
    [
        ("Token", 401, "not-signed-in"),
        ("Token not-one", 401, "not-signed-in"),
        ("Token a b", 401, "not-signed-in"),
        ("Token a\x00b", 400, "unreadable"),
        ("Token \xe9\xff", 400, "unreadable"),
    ],
)
def test_a_broken_token_is_refused(db, header, status, kind):
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=header)
    is_problem(client.get("/api/v1/rigs"), status, kind)


@pytest.mark.urls(__name__)
def test_a_fault_of_ours_says_nothing_of_the_inside(db):
    client = APIClient(raise_request_exception=False)
    answer = is_problem(client.get("/broken"), 500, "unexpected")
    assert "hunter2" not in json.dumps(answer)
    assert "RuntimeError" not in json.dumps(answer)


@pytest.mark.urls(__name__)
def test_who_has_asked_too_often_is_answered_when_to_come_back(as_owner):
    answer = as_owner.post("/broken")
    is_problem(answer, 429, "too-many-requests")
    assert answer["Retry-After"] == "7"


def test_what_is_found_is_cut_short(as_owner):
    answer = as_owner.post("/api/v1/rigs", {"name": "x" * 5000}, format="json")
    [long] = [f for f in answer.json()["findings"] if f["field"] == "name"]
    assert len(long["found"]) < 250


def test_every_type_of_problem_has_a_page_that_explains_it(client: Client):
    answer = client.get("/problems/invalid")
    assert answer.status_code == 200
    assert "findings" in answer.content.decode()
    assert client.get("/problems/unheard-of").status_code == 404
