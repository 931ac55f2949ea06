"""Answers kept in the process: what they say is never older than what is stored."""

import numpy as np
import pytest
from django.test import Client

from results.accounts.rename import rename
from results.catalogue.connections import propose_connection
from results.models import Connection, Pool, PullSet
from results.review.decisions import decide
from results.worker import embedded
from tests import making
from tests.api.leagues import send
from tests.people import contributor


@pytest.fixture
def league(db) -> list[PullSet]:
    """Four testers of one join."""
    rng = np.random.default_rng(20260110)
    sent = [send(contributor(f"tester {n}"), rng, "Blood", 80.0) for n in range(4)]
    embedded.drain()
    return sent


@pytest.fixture
def addresses(league) -> list[str]:
    return ["/api/v1/pools", f"/api/v1/pools/{Pool.objects.get().pk}"]


PARTS = ("/sets", "/tester-effects", "/versions")


@pytest.fixture
def pages(addresses) -> list[str]:
    return ["/", addresses[1].removeprefix("/api/v1") + "/"]


def test_asked_again_an_unchanged_pool_costs_one_query(
    addresses, as_stranger, django_assert_num_queries
):
    for address in [*addresses, *(addresses[1] + part for part in PARTS)]:
        first = as_stranger.get(address)
        with django_assert_num_queries(1):
            again = as_stranger.get(address)
        assert (again.content, again["ETag"]) == (first.content, first["ETag"])
        assert again["Content-Type"] == "application/json"


def test_a_set_that_is_held_is_gone_from_list_and_pool_at_once(
    addresses, league, moderator, as_stranger
):
    before = [as_stranger.get(address) for address in addresses]
    decide(by=moderator.user, pull_set=league[3], decision="hold", reason="a question")
    embedded.drain()
    for address, old in zip(addresses, before, strict=True):
        now = as_stranger.get(address, HTTP_IF_NONE_MATCH=old["ETag"])
        assert (now.status_code, now["ETag"] == old["ETag"]) == (200, False)
        [pool] = now.json().get("results", [now.json()])
        assert pool["current"]["testers"] == 3


def test_a_join_renamed_is_shown_by_its_new_name_at_once(addresses, as_stranger):
    before = [as_stranger.get(address) for address in addresses]
    blood = Connection.objects.get(name="Blood")
    blood.name = "Barrel"
    blood.save()
    for address, old in zip(addresses, before, strict=True):
        now = as_stranger.get(address, HTTP_IF_NONE_MATCH=old["ETag"])
        assert now.status_code == 200
        assert b'"Barrel"' in now.content
        assert b'"Blood"' not in now.content


def test_a_join_is_found_by_another_name_as_soon_as_it_has_one(addresses, as_stranger):
    assert as_stranger.get("/api/v1/pools?connection=barrel").json()["count"] == 0
    Connection.objects.get(name="Blood").aliases.create(name="Barrel")
    assert as_stranger.get("/api/v1/pools?connection=barrel").json()["count"] == 1


def test_a_tester_who_goes_by_another_name_is_named_nowhere_by_the_old_one(
    addresses, league, as_stranger
):
    _, one_pool = addresses
    last = league[3].session.contributor
    assert b"tester 3" in as_stranger.get(f"{one_pool}/sets").content
    rename(last, "quietwater")
    for address in (one_pool, f"{one_pool}/sets", f"{one_pool}/versions"):
        assert b"tester 3" not in as_stranger.get(address).content
    assert b"quietwater" in as_stranger.get(f"{one_pool}/sets").content


def test_a_new_connection_alone_changes_nothing_that_was_kept_but_its_tag(
    addresses, moderator, as_stranger
):
    before = as_stranger.get(addresses[0])
    propose_connection(moderator.user, Connection(name="Sheet bend", kind="line to line"))
    now = as_stranger.get(addresses[0])
    # The second up to which a list is current goes on by itself.
    one, other = (answer.json() | {"changed_until": None} for answer in (before, now))
    assert other == one
    assert now["ETag"] != before["ETag"]


def test_what_one_address_or_form_asked_for_is_never_given_to_another(addresses, as_stranger):
    assert as_stranger.get("/api/v1/pools?wet=true").json()["count"] == 0
    assert as_stranger.get("/api/v1/pools?wet=false").json()["count"] == 1
    elsewhere = Client(SERVER_NAME="localhost").get(addresses[0]).json()
    assert elsewhere["results"][0]["url"].startswith("http://localhost/")
    assert (
        as_stranger.get(addresses[0]).json()["results"][0]["url"].startswith("http://testserver/")
    )
    assert as_stranger.get(addresses[0], HTTP_ACCEPT="text/html").status_code == 406
    sheet = as_stranger.get(addresses[0], HTTP_ACCEPT="text/csv")
    assert sheet["Content-Type"] == "text/csv; charset=utf-8"
    document = as_stranger.get(addresses[0])
    other = {"HTTP_ACCEPT": "text/csv", "HTTP_IF_NONE_MATCH": document["ETag"]}
    assert as_stranger.get(addresses[0], **other).status_code == 200
    assert as_stranger.get(addresses[0])["Content-Type"] == "application/json"


def test_a_refusal_is_not_kept_and_a_wrong_token_is_refused_still(addresses, as_stranger):
    for _ in range(2):
        assert as_stranger.get("/api/v1/pools?wet=rather").status_code == 422
    for address in addresses:
        assert as_stranger.get(address).status_code == 200
        assert as_stranger.get(address, HTTP_AUTHORIZATION="Token wrong").status_code == 401


def test_sets_and_testers_of_a_pool_come_in_pages(addresses, as_stranger):
    answer = as_stranger.get(addresses[1]).json()
    for part in ("sets", "tester_effects"):
        page = as_stranger.get(answer[part], {"limit": 3}).json()
        assert (page["count"], len(page["results"])) == (4, 3)
        assert len(as_stranger.get(page["next"]).json()["results"]) == 1


def test_a_set_that_is_held_is_gone_from_a_pools_parts_at_once(
    addresses, league, moderator, as_stranger
):
    before = {part: as_stranger.get(addresses[1] + part)["ETag"] for part in PARTS}
    decide(by=moderator.user, pull_set=league[3], decision="hold", reason="a question")
    embedded.drain()
    counts = {
        part: as_stranger.get(addresses[1] + part, HTTP_IF_NONE_MATCH=tag).json()["count"]
        for part, tag in before.items()
    }
    assert counts == {"/sets": 3, "/tester-effects": 3, "/versions": 2}


def test_a_rig_or_a_line_renamed_is_shown_by_its_new_name_at_once(addresses, league, as_stranger):
    rig, line = league[0].session.revision.rig, league[0].main_line
    making.accept("rig", "the old winch")
    for named, name in ((rig, "the old winch"), (line, "Nylon of the shed")):
        as_stranger.get(addresses[1] + "/sets")
        named.name = name
        named.save()
        assert name in as_stranger.get(addresses[1] + "/sets").content.decode()


def test_asked_again_an_unchanged_page_costs_one_query(pages, client, django_assert_num_queries):
    for page in pages:
        first = client.get(page)
        with django_assert_num_queries(1):
            again = client.get(page)
        assert (again.content, again["ETag"]) == (first.content, first["ETag"])
        assert again["Content-Type"] == "text/html; charset=utf-8"
        assert client.get(page, HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 304


def test_a_page_shows_a_set_gone_and_a_join_renamed_at_once(pages, league, moderator, client):
    for page in pages:
        client.get(page)
    assert b"tester 3</a>" in client.get(pages[1]).content
    decide(by=moderator.user, pull_set=league[3], decision="hold", reason="a question")
    embedded.drain()
    blood = Connection.objects.get(name="Blood")
    blood.name = "Barrel"
    blood.save()
    for page in pages:
        assert "Barrel" in client.get(page).content.decode()
    assert b"tester 3</a>" not in client.get(pages[1]).content


def test_a_page_in_other_measures_is_another_page(pages, client):
    for page in pages:
        metric = client.get(page)
        assert "Cookie" in metric["Vary"]
        client.cookies["measures"] = "imperial"
        imperial = client.get(page, HTTP_IF_NONE_MATCH=metric["ETag"])
        assert (imperial.status_code, imperial["ETag"] == metric["ETag"]) == (200, False)
        assert "<b>imperial</b>" in imperial.content.decode()
        del client.cookies["measures"]
        assert "<b>metric</b>" in client.get(page).content.decode()


def test_a_person_signed_in_gets_a_page_of_their_own(pages, owner, client):
    for page in pages:
        kept = client.get(page)
        signed_in = Client()
        signed_in.force_login(owner.user)
        own = signed_in.get(page, HTTP_IF_NONE_MATCH=kept["ETag"])
        assert own.status_code == 200
        assert "My bench" in own.content.decode()
        assert "My bench" not in client.get(page).content.decode()
