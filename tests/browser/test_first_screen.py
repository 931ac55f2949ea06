"""What a phone shows before anybody scrolls answers the question of the page."""

import pytest
from playwright.sync_api import expect

from results import notices
from results.models import PullSet
from tests import making
from tests.api.leagues import league_of
from tests.browser.test_bench import as_person
from tests.pages.conftest import pool_of
from tests.people import contributor

__all__ = ["as_person"]
TALLEST_BENCH = 6
"""Screens of a phone that a bench with ten held sets takes."""
HELD = 10


@pytest.fixture
def league(transactional_db):
    return league_of({"Blood": 86.0, "Double uni": 80.0, "Surgeon's": 55.0}, testers=4)


def ends_at(page, selector: str) -> float:
    place = page.locator(selector).first.bounding_box()
    assert place is not None
    return place["y"] + place["height"]


def test_the_list_says_which_join_is_strongest_and_how_much_it_keeps(league, page, look):
    screen = page.viewport_size["height"]
    look("/?main=nylon+monofilament&to=nylon+monofilament", name="first-screen-list")
    assert ends_at(page, ".best") < screen
    assert ends_at(page, ".ranking tbody td strong") < screen


def test_a_pool_says_what_it_keeps_what_to_expect_and_how_sure_that_is(league, page, look):
    screen = page.viewport_size["height"]
    look(f"/pools/{pool_of('Blood').pk}/", name="first-screen-pool")
    assert page.locator(".opening p").count() == 3
    assert ends_at(page, ".verdict") < screen
    assert ends_at(page, ".opening") < screen


def test_a_bench_with_many_held_sets_says_first_what_to_do(
    transactional_db, as_person, look, settings
):
    owner = contributor("owner")
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(HELD):
        one = making.joined(session, main, leader, [80.0 + number, 82.0, 85.0])
        PullSet.objects.filter(pk=one.pk).update(state="held")
        notices.notify_owner(one, "It waits for a moderator. " * 6)
    page = as_person(owner)
    look("/bench/", name="first-screen-bench")
    screen = page.viewport_size["height"]
    asked = page.locator(".opening")
    expect(asked).to_contain_text(f"read {HELD} new notices")
    expect(asked).to_contain_text(f"explain {HELD} held sets")
    assert ends_at(page, ".opening") < screen
    assert page.evaluate("document.documentElement.scrollHeight") < TALLEST_BENCH * 844
    page.get_by_role("link", name=f"explain {HELD} held sets").click()
    newest = PullSet.objects.latest("pk")
    page.locator(f"#held-{newest.pk}").click()
    page.locator(f"#text-{newest.pk}").fill("The film shows it.")
    page.locator("details[open]").get_by_role("button", name="Send").click()
    expect(page.get_by_text("Sent. A moderator will read it.")).to_be_visible()


def test_the_api_s_documents_can_be_read_by_everyone(transactional_db, page, look):
    page.goto("/api/v1/docs")
    expect(page.get_by_text("/api/v1/pools").first).to_be_visible()
    look(name="api-documents")
