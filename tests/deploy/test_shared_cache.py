"""A cache that all readers share stands in front: it spares the service and mixes nobody up."""

import re

import pytest
import requests

from deploy.tools.processes import TIMEOUT_S, wait_until
from deploy.tools.shared_cache import in_front_of
from results.http_cache.shared import SHARED
from results.models import Connection, Pool
from tests.api.leagues import league_of
from tests.people import client_of, contributor


@pytest.fixture
def cached(transactional_db, live_server):
    """A league behind nginx; yields a function that asks it."""
    league_of({"Blood": 80.0}, testers=4)
    with in_front_of(live_server.url.removeprefix("http://")) as port:

        def ask(path: str, **headers: str) -> requests.Response:
            named = {name.replace("_", "-"): value for name, value in headers.items()}
            return requests.get(f"http://127.0.0.1:{port}{path}", headers=named, timeout=TIMEOUT_S)

        yield ask


def test_an_answer_is_kept_for_each_form_and_a_change_shows(cached):
    pool = f"/api/v1/pools/{Pool.objects.get().pk}"
    for path in ("/api/v1/pools", pool, f"{pool}/sets", "/", f"/pools/{Pool.objects.get().pk}/"):
        first = cached(path)
        assert first.status_code == 200, path
        assert first.headers["Cache-Control"] == SHARED
        again = until_kept(cached, path)
        assert again.content == first.content
        assert again.headers["ETag"] == first.headers["ETag"]
    forms = {
        cached("/api/v1/pools", Accept=accept).headers["Content-Type"].partition(";")[0]
        for accept in ("text/csv", "application/json", "text/csv")
    }
    assert forms == {"text/csv", "application/json"}
    for coding in ("br", "gzip", "br"):
        assert cached("/api/v1/pools", Accept_Encoding=coding).headers["Content-Encoding"] == coding

    Connection.objects.filter(name="Blood").first().save()
    connection = Connection.objects.get(name="Blood")
    connection.name = "Blood, renamed"
    connection.save()
    wait_until(lambda: "Blood, renamed" in cached("/api/v1/pools").text, "The new name")


def until_kept(cached, path: str) -> requests.Response:
    """The first answer that the cache gave by itself; none would be a fault of the headers."""
    for _ in range(50):
        answer = cached(path)
        if answer.headers["X-Cache"] in ("HIT", "STALE", "UPDATING"):
            return answer
    raise AssertionError((path, answer.headers))


def test_a_change_is_seen_within_two_seconds_by_what_the_answers_promise():
    fresh, stale = re.search(r"s-maxage=(\d+), stale-while-revalidate=(\d+)", SHARED).groups()
    assert int(fresh) + int(stale) <= 2


def test_what_a_person_is_answered_is_kept_by_nobody(cached):
    tester = contributor("newcomer")
    token = client_of(tester)._credentials["HTTP_AUTHORIZATION"]
    own = cached("/api/v1/me", Authorization=token)
    assert own.json()["handle"] == "newcomer"
    assert own.headers["Cache-Control"] == "private, no-cache"
    assert cached("/api/v1/me").status_code == 401
    for _ in range(3):
        signed_in = cached("/api/v1/pools", Authorization=token)
        assert signed_in.headers["Cache-Control"] == "private, no-cache"
        assert signed_in.headers["X-Cache"] == "BYPASS"
        assert cached("/api/v1/pools").headers["Cache-Control"] == SHARED
    page = cached("/", Cookie="sessionid=of-somebody")
    assert page.headers["Cache-Control"] == "private, no-cache"
    assert page.headers["X-Cache"] in ("MISS", "EXPIRED")
    assert until_kept(cached, "/").headers["Cache-Control"] == SHARED


def test_a_reader_who_chose_something_gets_no_other_readers_page(cached):
    strong = cached("/", Cookie="own_line=40 lbf")
    assert "Cookie" in strong.headers["Vary"]
    assert cached("/", Cookie="own_line=12 lbf").headers["ETag"] != strong.headers["ETag"]
