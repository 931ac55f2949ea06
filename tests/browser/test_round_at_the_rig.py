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
    pull(page, "90000", "in the line")
    if page.locator("#wild").is_visible():
        page.click("#wild-keep")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text(
        "leader reel, straight, before, pull 4, reading"
    )
    expect(page.locator("#outcome")).not_to_contain_text("[")
    page.get_by_role("button", name="Remove pull 4").click()
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("kept sealed until the close")
    expect(page.locator("#outcome")).to_contain_text(f"{code}: 3 of 5 pulled")
    page.goto(f"/rounds/codes/{code}/")  # scanned again, nothing is added
    expect(page.locator("#series button")).to_have_count(3)
    page.get_by_role("button", name="Send the session").click()
    page.wait_for_url(f"**/rounds/{made.pk}/?sent=now")
    expect(page.get_by_text("Your results are in, and sealed until the close.")).to_be_visible()
    look(name="a round with sealed results")
    assert SealedSession.objects.get().state == "sealed"
    assert not Session.objects.exists()
    expect(page.get_by_text(f"sealed, late: {code}")).to_be_visible()
    page.get_by_text("Take it back").click()
    page.get_by_role("button", name="Take these results back").click()
    expect(page.get_by_text("these codes can be sent again").first).to_be_visible()
    assert SealedSession.objects.get().state == "withdrawn"


def add_code(page, code) -> None:
    if page.locator("#add-sample:not([open])").count():
        page.click("#add-sample summary")
    page.fill("#r-sample", code)
    page.click("#add-sample button")


def test_no_code_but_ones_own_is_taken_before_a_join_is_pulled(under_way, as_person, look):
    """Nobody's, another tester's, one that was sent; without a network it is kept, and looked up
    once there is one."""
    _, (first, second) = under_way
    foreign = readable(second.specimens.first().code)
    own = [readable(one.code) for one in selectors.own_codes(first)]
    page = as_person(first.contributor)
    page.goto("/at-the-rig/")
    page.wait_for_selector("#rig[data-kept=yes]")
    for code in ("2222-2222", foreign):
        add_code(page, code)
        expect(page.locator("#add-sample .error")).to_contain_text(
            f"{code} isn’t one of your codes"
        )
        expect(page.locator("#series button")).to_have_count(0)
    look(name="a wrong code at the rig")
    add_code(page, own[0].lower())
    expect(page.locator("#series button")).to_have_count(3)
    page.context.set_offline(True)
    add_code(page, foreign)
    expect(page.locator("#now")).to_have_text(f"{foreign}, code not checked yet")
    answers = iter([False])  # a network that has just come back fails once more
    page.route(
        "**/at-the-rig/?codes=now",
        lambda route: route.continue_() if next(answers, True) else route.abort(),
    )
    page.context.set_offline(False)
    expect(page.locator("#now")).to_have_text(f"{foreign}, not your code")
    expect(page.locator("#warning")).to_contain_text(f"{foreign} isn’t one of your codes")
