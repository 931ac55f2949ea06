"""Stories of testers and moderators at both sizes: proposing, wild readings, my tying, the desk."""

import re

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import expect

from results.models import PullSet, WaitingSession
from results.review.decisions import ask
from tests.browser.test_bench import as_person, pull
from tests.intake.conftest import bench, sheet
from tests.people import contributor
from tests.stories.test_review import HONEST_N, TOO_GOOD_N, send, shifted

__all__ = ["as_person", "bench"]
MOST_BYTES = 80 * 1024
"""Of a page at first load with all that it fetches, compressed."""


@pytest.fixture
def reviewer(transactional_db):
    person = contributor("reviewer")
    person.user.groups.create(name="moderators")
    return person


@pytest.fixture
def fetched(page):
    """What the browser has fetched; its sizes are as they were sent, compressed."""
    requests: list = []
    page.on("requestfinished", lambda request: requests.append(request))  # noqa: PLW0108
    return requests


def test_what_the_catalogue_lacks_is_proposed_decided_and_followed(
    transactional_db, owner, reviewer, bench, as_person, look
):
    page = as_person(owner)
    page.goto("/upload/")
    text = sheet().replace("Double uni", "Uni uni")
    sent = {"name": "day.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.set_input_files("#file", sent)
    page.get_by_role("button", name="Check it").click()
    look(name="upload-lacks-a-join")
    page.get_by_role("button", name="Propose it and let the session wait").click()
    expect(page.get_by_role("heading", name="Your session waits for the catalogue")).to_be_visible()
    look(name="waiting-session")

    page = as_person(reviewer)
    page.goto("/bench/")
    expect(page.get_by_text("1 proposals")).to_be_visible()
    page.goto("/admin/results/proposal/")
    page.locator("#result_list tbody th a").click()
    look(name="proposal")
    page.get_by_label("something that is there already").check()
    page.get_by_label("It is").select_option(label="Double uni")
    page.get_by_role("button", name="Decide").click()
    expect(page.get_by_text("Sessions that went on: 1.")).to_be_visible()
    assert WaitingSession.objects.get().state == "stored"

    page = as_person(owner)
    look("/account/", name="account-with-a-notice")
    page.locator("#notices + ul a").first.click()
    expect(page.get_by_role("heading", name="It waited, and is stored")).to_be_visible()


def test_a_slipped_decimal_point_is_asked_about_as_it_is_entered(
    transactional_db, owner, bench, as_person
):
    page = as_person(owner)
    page.goto("/at-the-rig/")
    expect(page.locator("#at-unit")).to_have_value("")
    page.select_option("#at-rig", label="shed winch, revision 1")
    expect(page.locator("#at-unit")).to_have_value("N")
    page.click("#add-straight summary")
    page.fill("#s-line", "thin")
    page.click("#add-straight button")
    for reading in ("15.2", "15.6", "1550"):
        pull(page, reading, "in the line")
    expect(page.locator("#wild")).to_contain_text("1550 is 101 times the middle")
    expect(page.locator("#pulls li")).to_have_count(2)
    page.get_by_role("button", name="Correct it").click()
    pull(page, "15.50", "in the line")
    expect(page.locator("#wild")).to_be_hidden()
    expect(page.locator("#pulls li")).to_have_count(3)


def test_a_tester_compares_and_a_moderator_decides_by_keyboard(
    transactional_db, reviewer, as_person, look, fetched, settings
):
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    for number, by_N in enumerate((-2, 0, 2.5)):
        send(contributor(f"tester {number}"), shifted(by_N))
    owner = contributor("owner")
    send(owner, [load - 3 for load in HONEST_N])
    held = send(owner, TOO_GOOD_N)
    ask(by=reviewer.user, pull_set=held, text="Which spool was it?")

    page = as_person(owner)
    fetched.clear()
    page.goto("/bench/tying/")
    assert fetched
    assert sum(each.sizes()["responseBodySize"] for each in fetched) < MOST_BYTES
    look(name="my-tying")
    first_screen = page.viewport_size["height"]
    answer = page.locator(".opening").first.bounding_box()
    picture = page.locator("svg.tying").first.bounding_box()
    assert answer["y"] + answer["height"] < first_screen
    assert picture["y"] + picture["height"] < first_screen
    look("/account/", name="account-with-a-question")
    page.locator(f"#text-{held.pk}").fill("The new one, from another maker.")
    page.locator("#threads ~ section").get_by_role("button", name="Send").click()
    expect(page.get_by_text("Sent. A moderator will read it.")).to_be_visible()

    page = as_person(reviewer)
    page.goto("/bench/")
    expect(page.get_by_text("1 answered, 0 appealed")).to_be_visible()
    page.get_by_role("link", name="The desk: 1 set waits").click()
    look(name="desk-queue")
    page.keyboard.press("j")
    page.keyboard.press("o")
    page.wait_for_url("**/change/")
    look(name="desk-case")
    for heading in ("this set, each pull", "the pool without this set, with its interval"):
        place = page.locator("svg.case text", has_text=heading).first.bounding_box()
        assert place["x"] >= 0
        assert place["x"] + place["width"] <= page.viewport_size["width"]
    page.locator("h1, #content").first.click()
    page.keyboard.press("r")
    letter = re.compile("counts in its pool from now on")
    expect(page.locator("#id_reason")).to_have_value(letter)
    page.keyboard.press("Control+Enter")
    expect(page.get_by_text("release is done")).to_be_visible()
    held.refresh_from_db()
    assert held.state == PullSet.State.RELEASED


def test_an_administrator_makes_an_account_in_one_form(transactional_db, as_person, look):
    keeper = contributor("keeper")
    User.objects.filter(pk=keeper.user_id).update(is_staff=True, is_superuser=True)
    page = as_person(keeper)
    look("/admin/people/", name="make-an-account")
    page.get_by_label("Sign-in name").fill("heron")
    page.get_by_label("Contributor").check()
    page.get_by_label("Moderator").check()
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_text("Make heron a moderator?")).to_be_visible()
    assert not User.objects.filter(username="heron").exists()
    look(name="make-a-moderator")
    page.get_by_role("button", name="Yes, make a moderator").click()
    expect(page.get_by_text("heron has:")).to_be_visible()


def test_pages_of_the_account_library_look_and_speak_as_ours(
    transactional_db, owner, as_person, look
):
    page = as_person(owner)
    for address, heading in (
        ("/account/password/set/", "Set a password"),
        ("/account/mail/", "Email address"),
        ("/account/second-factor/", "Second factor"),
    ):
        look(address)
        expect(page.get_by_role("heading", name=heading, exact=True)).to_be_visible()
        assert page.locator("header.top").count() == 1
