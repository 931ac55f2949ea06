"""Filters and pages of the list of joins."""

import pytest
from django.test import Client

from results.jobs.queue import enqueue
from results.worker.embedded import drain
from rigs.models import Material
from tests import making
from tests.api.leagues import league_of, send
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.people import contributor

FLUOROCARBON, NYLON = Material.FLUOROCARBON.value, Material.NYLON.value


@pytest.fixture
def two_leaders(db):
    league_of(
        {"Blood": 80.0},
        testers=3,
        before=lambda rng: send(contributor("stray"), rng, "Alberto", 80.0, FLUOROCARBON),
    )


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, {"Blood", "Alberto"}),
        ({"to": FLUOROCARBON}, {"Alberto"}),
        ({"main": NYLON, "to": NYLON}, {"Blood"}),
        ({"main": FLUOROCARBON}, set()),
        ({"wet": "true"}, set()),
        ({"wet": "false", "connection": "Alberto"}, {"Alberto"}),
        ({"least_testers": "3"}, {"Blood"}),
        ({"least_testers": "4"}, set()),
    ],
)
def test_each_filter_leaves_only_what_was_asked_for(two_leaders, read, asked, found):
    page = read("/", **asked)
    pools = {pool_of(tie).pk: tie for tie in ("Blood", "Alberto")}
    shown = {tie for pk, tie in pools.items() if f"/pools/{pk}/" in page.links()}
    assert shown == found
    assert ("No one has pulled a join yet that fits" in page.text) == (not found)


def test_an_empty_service_says_that_nothing_has_been_pulled(db, read):
    assert "No pulls yet." in read("/").text


def test_many_line_pairs_come_page_by_page_with_the_filter_kept(
    db, owner, read, django_assert_max_num_queries
):
    revision, main = making.revision_of(owner), making.line("thin")
    for state in ("dry", "soaked"):
        for material in Material.values:
            session = making.session(revision, state=state)
            making.straight(session, main)
            leader = making.line(f"thick {material}", material=material, label_N=180)
            making.joined(session, main, leader, [78, 82, 80])
            enqueue(session)
    drain()
    with django_assert_max_num_queries(12):
        first = Client().get("/", {"connection": "Blood"})
    assert len(first.content) < 150_000
    assert "page 1 of 2" in Page(first).text
    (onwards,) = Page(first).all("a", rel="next")
    assert onwards["href"] == "?connection=Blood&page=2"
    assert "page 2 of 2" in read("/" + onwards["href"]).text
