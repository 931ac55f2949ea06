"""A label scanned with a phone: its code at the rig, pulled, checked, sealed, and taken back."""

import pytest
from playwright.sync_api import expect

from results.models import SealedSession, Session
from results.rounds import selectors
from results.rounds.codes import readable
from tests import playing
from tests.browser.test_bench import as_person, pull

__all__ = ["as_person"]


@pytest.fixture
def under_way(transactional_db):
    organiser = playing.member("organiser")
    testers = [playing.member(f"tester {number}") for number in (1, 2)]
    for tester in testers:
        playing.lent_rig(tester)
    return playing.opened(organiser, testers)


def test_a_label_is_scanned_pulled_sealed_and_taken_back(under_way, as_person, look):
    made, (first, _) = under_way
    code = readable(next(one.code for one in selectors.own_codes(first) if one.sample is None))
    page = as_person(first.contributor)
    page.goto(f"/rounds/codes/{code}/")
    expect(page).to_have_url(f"{page.url.split('/at-the-rig/')[0]}/at-the-rig/")
    expect(page.locator("#now")).to_have_text(f"{code}, comes tied")
    page.select_option("#at-rig", label="shed winch, revision 1")
    page.select_option("#at-unit", "N")
    page.fill("#at-day", "2026-03-10")
    for reading in ("81", "82.5", "80.2"):
        pull(page, reading, "at the join")
    for spool, around in (("spring reel", 100), ("leader reel", 190)):
        page.locator("#series").get_by_role("button", name=spool).click()
        for more in (0, 1, 2):
            pull(page, str(around + more), "in the line")
    look(name="a sample of a round at the rig")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("kept sealed until the close")
    page.goto(f"/rounds/codes/{code}/")  # scanned again, nothing is added
    expect(page.locator("#series button")).to_have_count(3)
    page.get_by_role("button", name="Send the session").click()
    page.wait_for_url(f"**/rounds/{made.pk}/")
    look(name="a round with sealed results")
    assert SealedSession.objects.get().state == "sealed"
    assert not Session.objects.exists()
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_text("these codes can be sent again").first).to_be_visible()
    assert SealedSession.objects.get().state == "withdrawn"


def test_a_code_that_is_typed_wrong_is_refused_in_words(under_way, as_person, look):
    _, (first, _) = under_way
    page = as_person(first.contributor)
    page.goto("/at-the-rig/")
    page.select_option("#at-rig", label="shed winch, revision 1")
    page.select_option("#at-unit", "N")
    page.click("#add-sample summary")
    page.fill("#r-sample", "2222-2222")
    page.click("#add-sample button")
    pull(page, "80", "at the join")
    page.click("#add-straight summary")
    page.fill("#s-line", "thin")
    page.click("#add-straight button")
    pull(page, "100", "in the line")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("no round has this one")
    look(name="a wrong code at the rig")
