"""What desk and bench show is what is sent from them: ticks, letters, days and marks."""

import html
import re

import pytest
from django.test import Client
from django.utils import timezone

from results.models import Notice, PullSet, StateChange
from results.pages.figures import day
from results.review.decisions import decide
from results.review.reply_drafts import draft
from tests.people import client_of
from tests.stories.test_review_desk import QUEUE, desk, page_of  # noqa: F401
from tests.stories.test_said_once import (  # noqa: F401
    too_strong,
    two_high,
    words_of,
)
from tests.stories.test_second_look import league, newcomer  # noqa: F401
from tests.walking import Seen

pytestmark = pytest.mark.usefixtures("planted_past")


def states_of(sets) -> set[str]:
    return set(
        PullSet.objects.filter(pk__in=[each.pk for each in sets]).values_list("state", flat=True)
    )


def bench_of(pull_set) -> tuple[Client, str]:
    tester = Client()
    tester.force_login(pull_set.session.contributor.user)
    return tester, html.unescape(tester.get("/bench/").content.decode())


@pytest.mark.parametrize("action", ["release_many", "reject_many", "ask_many"])
def test_a_reason_that_is_missing_is_asked_for_with_the_ticks_kept(desk, two_high, action):  # noqa: F811
    """Of a release that moves the pool far, beside what it adds up to."""
    sent = {"action": action, "_selected_action": [each.pk for each in two_high], "reason": ""}
    page = desk.post(QUEUE, sent).content.decode()
    assert states_of(two_high) == {"held"}
    assert ("Released together" in page) == (action == "release_many")
    [form] = [each for each in Seen(QUEUE, page).forms if "_selected_action" in str(each.fields)]
    again = form.as_shown()
    ticked = [value for name, value in again if name == "_selected_action"]
    assert set(ticked) == {str(each.pk) for each in two_high}
    filled = [(name, value) for name, value in again if name != "reason"]
    sent = {"_selected_action": ticked} | {n: v for n, v in filled if n != "_selected_action"}
    desk.post(QUEUE, {**sent, "reason": "The film shows both of them."})
    for each in two_high:
        assert "The film shows both of them." in each.messages.latest("pk").text


def test_what_one_unticks_there_stays_as_it_was(desk, two_high):  # noqa: F811
    first, second = two_high
    sent = {"action": "reject_many", "_selected_action": [first.pk, second.pk], "reason": ""}
    page = desk.post(QUEUE, sent).content.decode()
    assert f'value="{second.pk}" checked' in page
    desk.post(QUEUE, {**sent, "_selected_action": [first.pk], "reason": "Another line."})
    second.refresh_from_db()
    assert (states_of([first]), second.state) == ({"rejected"}, "held")


@pytest.mark.parametrize("decision", ["release", "reject"])
def test_the_letter_that_was_sent_stands_whole_in_the_history(
    desk,  # noqa: F811
    too_strong,  # noqa: F811
    moderator,
    decision,
):
    """With the evidence in it, which the case lists above as well."""
    letter = draft(too_strong, decision)
    decide(by=moderator.user, pull_set=too_strong, decision=decision, reason=letter)
    said = words_of(desk.get(page_of(too_strong)).content.decode())
    history = said[said.index("History and messages") :]
    assert " ".join(letter.split()) in history


def test_two_figures_of_one_judgement_have_their_days(desk, two_high):  # noqa: F811
    first = two_high[0]
    judged = first.session.screenings.latest("pk").screened_at
    since = first.normalised.pool.current.computed_at
    tester, _bench = bench_of(first)
    pages = [tester.get("/bench/"), tester.get(f"/pull-sets/{first.pk}/"), desk.get(page_of(first))]
    for page in pages:
        said = words_of(page.content.decode())
        assert f"judged on {day(judged)}" in said
        assert f"has stood since {day(since)}, this set by itself moves the figure by" in said


def test_a_bench_says_since_when_a_set_is_held_and_not_when_it_was_pulled(too_strong):  # noqa: F811
    held_at = StateChange.objects.filter(pull_set=too_strong, to_state="held").latest("pk").at
    assert held_at.date() != too_strong.session.pulled_on
    _tester, page = bench_of(too_strong)
    said = f"held since {day(held_at)}; pulled on {day(too_strong.session.pulled_on)}"
    assert said in page


@pytest.mark.parametrize(("address", "shown"), [("/bench/", 5), ("/account/", 8)])
def test_marking_notices_as_read_marks_those_that_were_shown(owner, address, shown):
    for number in range(8):
        Notice.objects.create(to=owner, about="account", text=f"News, number {number}.")
    Notice.objects.create(to=owner, about="account", text="Read.", read_at=timezone.now())
    tester = Client()
    tester.force_login(owner.user)
    page = tester.get(address).content.decode()
    assert f"Mark these {shown} as read" in page
    [form] = [each for each in Seen(address, page).forms if each.action.endswith("/read/")]
    sent: dict[str, list[str]] = {}
    for name, value in form.as_shown():
        sent.setdefault(name, []).append(value)
    Notice.objects.create(to=owner, about="account", text="It came meanwhile.")
    tester.post(form.action, sent)
    unread = Notice.objects.filter(read_at=None).values_list("text", flat=True)
    assert len(unread) == 9 - shown
    assert "It came meanwhile." in unread
    assert all(
        text in page
        for text in Notice.objects.exclude(read_at=None)
        .exclude(text="Read.")
        .values_list("text", flat=True)
    )
    tester.post(form.action, {"notice": ["x", "-1", "9" * 30]})
    assert Notice.objects.filter(read_at=None).count() == 9 - shown


def test_the_api_says_what_releases_add_up_to(two_high, moderator):  # noqa: F811
    """As the page does before; of another decision there is nothing to be warned of."""
    client = client_of(moderator)
    body = {"cases": [{"pull_set": each.pk} for each in two_high], "reason": "The film."}
    answers = {
        decision: client.post(
            "/api/v1/reviews/decisions", {**body, "decision": decision}, format="json"
        )
        for decision in ("reject", "release")
    }
    assert {answer.status_code for answer in answers.values()} == {201}
    assert {each["warning"] for each in answers["reject"].json()} == {""}
    said = {each["warning"] for each in answers["release"].json()}
    assert len(said) == 1
    assert re.fullmatch(r"Released together, these 2 sets move .+ by \+\d+\.\d%, .+", said.pop())
