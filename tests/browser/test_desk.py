"""Stories 17 to 20 as they are lived: why it was flagged, what if, decide, and not one's own."""

import re

import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from results.models import Pool, PullSet
from results.worker.embedded import drain
from tests.browser.test_bench import as_person
from tests.people import contributor
from tests.stories.test_review import TOO_GOOD_N, send, shifted

__all__ = ["as_person"]


@pytest.fixture
def moderators(transactional_db):
    people = [contributor("benchwarden"), contributor("second pair")]
    group = Group.objects.create(name="moderators")
    for person in people:
        person.user.groups.add(group)
    return people


@pytest.fixture
def held(moderators, settings):
    """A set far stronger than its straight line, in a pool of three others."""
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    for number, by_N in enumerate((-2, 0, 2.5)):
        send(contributor(f"tester {number}"), shifted(by_N))
    held = send(contributor("owner"), TOO_GOOD_N)
    assert held.state == PullSet.State.HELD
    return held


def state_of(pull_set: PullSet) -> str:
    return PullSet.objects.get(pk=pull_set.pk).state


def open_case(page, pull_set: PullSet) -> None:
    """From one's bench over the desk's queue to the case, by its links."""
    page.goto("/bench/")
    page.get_by_role("link", name=re.compile("^The desk")).click()
    page.locator(f"#result_list a[href*='/{pull_set.pk}/change/']").first.click()


def decide(page, decision: str, why: str) -> None:
    page.get_by_role("radio", name=decision).check()
    page.get_by_label("Reason").fill(why)
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.get_by_text(f"{decision} is done")).to_be_visible()


def test_a_moderator_sees_why_it_was_flagged_and_what_the_pool_is_without_it(
    held, moderators, as_person, look
):
    """Stories 17 and 18."""
    page = as_person(moderators[0])
    open_case(page, held)
    look(name="desk-case-why")
    fired = held.checks.filter(level="hold", name="plausible efficiency").get()
    row = page.get_by_role("row").filter(has_text="plausible efficiency")
    expect(row).to_contain_text("130.5 percent of the straight line")
    for said in (f"{fired.figure:.3f}".rstrip("0"), f"{fired.threshold:g}", fired.source):
        expect(row).to_contain_text(said)
    evidence = page.locator(".module", has_text="Evidence").first
    expect(evidence).to_contain_text("Honest reasons:")
    expect(evidence).to_contain_text("What settles it:")

    with_it, without = (
        page.get_by_role("row", name=re.compile(f"^{heading}")).inner_text()
        for heading in ("with this set", "without it")
    )
    published = Pool.objects.get().current
    assert f"{100 * published.efficiency:.1f} percent" in without
    assert "3 testers" in without
    assert "4 testers" in with_it
    moved = page.get_by_role("row", name=re.compile("^the set changes it by")).inner_text()
    by_percent = float(re.search(r"[+-][\d.]+", moved).group())
    figures = [
        float(re.search(r"[\d.]+ percent", side).group().split()[0]) for side in (with_it, without)
    ]
    assert 100 * (figures[0] / figures[1] - 1) == pytest.approx(by_percent, abs=0.2)
    assert state_of(held) == PullSet.State.HELD, "looking decides nothing"


def test_it_is_asked_answered_rejected_appealed_and_released_by_another(
    held, moderators, as_person, look
):
    """Story 19."""
    owner, (first, second) = held.session.contributor, moderators
    page = as_person(first)
    open_case(page, held)
    page.get_by_role("link", name="to ask").click()
    expect(page.get_by_label("Reason")).to_have_value(re.compile("would like to hear from you"))
    decide(page, "ask", "Which spool was it?")

    page = as_person(owner)
    page.goto("/bench/")
    expect(page.get_by_text("Which spool was it?").first).to_be_visible()
    page.get_by_label("Your explanation").fill("The new one.")
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.get_by_text("Sent. A moderator will read it.")).to_be_visible()

    page = as_person(first)
    page.goto("/bench/")
    expect(page.get_by_text("1 answered, 0 appealed")).to_be_visible()
    open_case(page, held)
    expect(page.get_by_text("The new one.")).to_be_visible()
    decide(page, "reject", "The straight line came off another spool.")
    assert state_of(held) == PullSet.State.REJECTED

    page = as_person(owner)
    page.goto("/bench/")
    expect(page.get_by_text("The straight line came off another spool.").first).to_be_visible()
    page.get_by_label("Your explanation").fill("It is one spool: here is its label.")
    page.get_by_role("button", name="Appeal to another moderator").click()
    look(name="bench-appealed")

    page = as_person(first)
    open_case(page, held)
    look(name="desk-case-appealed")
    expect(page.get_by_text("There is an appeal")).to_be_visible()
    expect(page.locator("form.decision").get_by_role("radio")).to_have_count(1)
    expect(page.get_by_role("radio", name="ask")).to_be_visible()

    page = as_person(second)
    open_case(page, held)
    history = page.locator(".module", has_text="History and messages")
    for said in ("Which spool was it?", "The new one.", "came off another spool", "its label"):
        expect(history).to_contain_text(said)
    decide(page, "release", "The label shows it: one spool.")
    drain()
    assert state_of(held) == PullSet.State.RELEASED

    page = as_person(owner)
    page.goto("/bench/")
    expect(page.get_by_text("The label shows it: one spool.").first).to_be_visible()
    page.goto(f"/pools/{held.normalised.pool_id}/")
    newest = page.get_by_role("region", name="History").locator("li").first
    expect(newest).to_contain_text(f"on set {held.pk}: release")
    newest.get_by_role("link").click()
    expect(page.get_by_text(f"on set {held.pk}: release").first).to_be_visible()
    expect(page.get_by_text("The label shows it")).to_have_count(0)


def test_several_without_a_reason_are_asked_about_once_more_with_their_ticks(
    held, moderators, as_person, look
):
    page = as_person(moderators[0])
    page.goto("/admin/results/reviewcase/")
    page.locator(f"input.action-select[value='{held.pk}']").check()
    page.locator("select[name=action]").select_option("release_many")
    page.get_by_role("button", name="Go").click()
    expect(page.get_by_text("A reason is missing.")).to_be_visible()
    expect(page.get_by_label(str(held))).to_be_checked()
    look(name="desk-once-more")
    page.get_by_label("Reason, which each contributor reads").fill("The film shows it.")
    page.get_by_role("button", name="Release these sets").click()
    expect(page.get_by_text("release is done on 1 set")).to_be_visible()
    assert state_of(held) == PullSet.State.RELEASED


def test_a_moderator_is_refused_a_decision_on_a_set_of_their_own(held, moderators, as_person, look):
    """Story 20."""
    own = send(moderators[0], [load - 1.5 for load in TOO_GOOD_N])
    assert own.state == PullSet.State.HELD
    page = as_person(moderators[0])
    open_case(page, own)
    look(name="desk-case-of-ones-own")
    expect(page.locator("#decide")).to_contain_text("own submission")
    expect(page.get_by_role("button", name="Send", exact=True)).to_have_count(0)
    page.goto("/admin/results/reviewcase/")
    page.locator(f"input.action-select[value='{own.pk}']").check()
    page.locator("select[name=action]").select_option("release_many")
    page.locator("textarea[name=reason]").fill("It is in order.")
    page.get_by_role("button", name="Go").click()
    expect(page.get_by_text("own submission")).to_be_visible()
    assert state_of(own) == PullSet.State.HELD
