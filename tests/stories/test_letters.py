"""Letters of the desk: each says of its set what is true of it, and goes to sets that wait."""

import html
import re

import pytest
from django.test import Client
from django.urls import reverse

from results.intake import amend
from results.models import CheckResult, PullSet, ReviewCase, Screening, Session
from results.models.declared.holds import HOLDS
from results.models.lifecycle import State, move
from results.pages.figures import lowest_to_highest
from results.review.decisions import appeal, ask, decide, version_of
from results.review.reply_drafts import draft
from rigs.refusals import Conflict
from tests import making
from tests.people import contributor

QUEUE = reverse("admin:results_reviewcase_changelist")
SEEN = {
    "Double uni": "The join held 140 percent, and in others' hands 74 percent.",
    "Surgeon's": "The set keeps 29.6 percent: the readings look like kilograms.",
    "Albright": "Two pulls of the set agree to 0.05 lbf.",
}


@pytest.fixture
def desk(moderator) -> Client:
    client = Client()
    client.force_login(moderator.user)
    return client


def page_of(pull_set) -> str:
    return reverse("admin:results_reviewcase_change", args=[pull_set.pk])


def held_set(of: Session, tie: str) -> PullSet:
    """A set with a finding of its own, held for it."""
    pull_set = making.joined(of, making.line("thin"), making.line("thick"), [70, 71, 72], tie=tie)
    look = of.screenings.first() or Screening.objects.create(session=of)
    CheckResult.objects.create(
        screening=look, pull_set=pull_set, name="strength of the line", applies_to=tie,
        figure=1.4, threshold=1.0, level="hold", sentence=SEEN[tie], source="a story",
    )  # fmt: skip
    ReviewCase.objects.create(pull_set=pull_set, pool_shift=0.01 * pull_set.pk)
    move([pull_set], State.HELD, reason=SEEN[tie])
    return pull_set


@pytest.fixture
def waiting(owner) -> list[PullSet]:
    """Three sets of one tester, held for three different reasons."""
    session = making.session(making.revision_of(owner))
    return [held_set(session, tie) for tie in SEEN]


def sent(pull_set, others, decision, reason) -> dict:
    return {
        "decision": decision,
        "reason": reason,
        "version": version_of(pull_set),
        "also": [f"{other.pk}.{version_of(other)}" for other in others],
        "then_next": "1",
    }


def read_by_its_tester(pull_set) -> list[str]:
    """All that a decision left to be read of a set: notice, thread and history."""
    return [
        pull_set.notices.latest("pk").text,
        pull_set.messages.latest("pk").text,
        pull_set.state_changes.latest("pk").reason,
    ]


@pytest.mark.parametrize("decision", ["release", "reject"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_each_of_several_sets_gets_its_own_evidence_and_number(desk, waiting, decision, line_end):
    first, second, third = waiting
    letter = draft(first, decision).replace("\n", line_end)
    answer = desk.post(page_of(first), sent(first, [second, third], decision, letter), follow=True)
    for pull_set in waiting:
        for text in read_by_its_tester(pull_set):
            assert f"About set {pull_set.pk}, pulled on" in text
            assert re.findall(r"About set (\d+)", text) == [str(pull_set.pk)]
            said = [tie for tie, sentence in SEEN.items() if sentence in text]
            assert said == [pull_set.connection.name]
    said = html.unescape(answer.content.decode())
    assert "is done on 3 sets" in said
    for pull_set in waiting:
        assert str(pull_set) in said


def test_words_of_ones_own_go_to_all_each_with_its_number(desk, waiting):
    first, second, _ = waiting
    letter = draft(first, "reject") + "\n\nPulled from the reel that was recalled."
    desk.post(page_of(first), sent(first, [second], "reject", letter))
    for pull_set in (first, second):
        for text in read_by_its_tester(pull_set):
            assert "Pulled from the reel that was recalled." in text
            assert f"About set {pull_set.pk}, pulled on" in text


@pytest.mark.parametrize(
    "words", ["It held 140 percent, which no join does.", "As I said of set {pk}: no.", ""]
)
def test_what_is_of_one_set_alone_goes_to_no_other(desk, waiting, words):
    """Evidence that was edited, a number, the letter of another decision."""
    first, second, _ = waiting
    words = words.format(pk=first.pk) or draft(first, "ask")
    for address, body in (
        (page_of(first), sent(first, [second], "reject", words)),
        (
            QUEUE,
            {
                "action": "reject_many",
                "_selected_action": [first.pk, second.pk],
                "reason": words,
            },
        ),
    ):
        answer = desk.post(address, body, follow=True)
        assert "is of one of them alone" in answer.content.decode()
        for pull_set in (first, second):
            pull_set.refresh_from_db()
            assert pull_set.state == "held"
            assert not pull_set.messages.exists()


@pytest.mark.parametrize("action", ["release_many", "reject_many", "ask_many"])
def test_from_the_queue_too_each_letter_names_its_own_set(desk, waiting, action):
    body = {
        "action": action,
        "_selected_action": [one.pk for one in waiting],
        "reason": "Pulled from the reel that was recalled.",
    }
    said = html.unescape(desk.post(QUEUE, body, follow=True).content.decode())
    assert "is done on 3 sets" in said
    for pull_set in waiting:
        text = pull_set.messages.latest("pk").text
        assert text.startswith(f"About set {pull_set.pk}, pulled on")
        assert str(pull_set) in said


def test_the_next_case_is_one_that_still_waits(desk, waiting):
    """Those decided on together are first in the queue: they'd move their pools the most."""
    first, second, third = waiting
    body = sent(third, [second], "release", "Fine.")
    assert desk.post(page_of(third), body).headers["Location"] == page_of(first)
    body = sent(first, [], "release", "Fine.")
    assert desk.post(page_of(first), body).headers["Location"] == QUEUE


def test_what_else_one_can_decide_on_says_why_it_is_held(desk, waiting):
    page = html.unescape(desk.get(page_of(waiting[0])).content.decode())
    assert str(waiting[1]) in page
    assert "held by: strength of the line" in page


ASKS = re.compile(r"\?|Answer under|An answer under")
NOTHING_TO_DO = re.compile(r"nothing for you to do|need do nothing|needs? nothing of you", re.I)


@pytest.mark.parametrize("decision", ["release", "reject", "hold", "ask"])
def test_a_letter_asks_or_says_that_nothing_is_asked_and_says_each_thing_once(owner, decision):
    """Of every check that holds."""
    session = making.session(making.revision_of(owner))
    pull_set = held_set(session, "Albright")
    for name in HOLDS:
        CheckResult.objects.create(
            screening=Screening.objects.create(session=session), pull_set=pull_set, name=name,
            applies_to="set 1", figure=1.4, threshold=1.0, level="hold", sentence="So it was seen.",
            source="a story",
        )  # fmt: skip
        letter = draft(pull_set, decision)
        assert "So it was seen." in letter
        assert not (ASKS.search(letter) and NOTHING_TO_DO.search(letter)), name
        sentences = re.split(r"(?<=[.?])\s+", letter)
        assert len(sentences) == len(set(sentences)), name


def test_its_tester_finds_the_set_a_letter_is_about_and_reads_its_paragraphs(desk, waiting, owner):
    first = waiting[0]
    desk.post(page_of(first), sent(first, [], "reject", draft(first, "reject")))
    at_home = Client()
    at_home.force_login(owner.user)
    page = at_home.get("/bench/").content.decode()
    assert f"{first}</h3>" in html.unescape(page)
    assert "Held or rejected" in page
    assert page.count("leave it out of its pool.<br><br>What was seen") == 1, (
        "in the thread; the notice leads there"
    )


def in_state(state: str, owner, moderator) -> PullSet:
    """A set that a case is open on, or was, brought there as it happens."""
    pull_set = held_set(making.session(making.revision_of(owner)), "Albright")
    if state in (State.RELEASED, State.REJECTED):
        decision = {State.RELEASED: "release", State.REJECTED: "reject"}[State(state)]
        decide(by=moderator.user, pull_set=pull_set, decision=decision, reason="So it is.")
    elif state == State.WITHDRAWN:
        amend.withdraw(pull_set.session, owner, "the scale stuck")
    elif state != State.HELD:
        PullSet.objects.filter(pk=pull_set.pk).update(state=state)
    pull_set.refresh_from_db()
    assert pull_set.state == state
    return pull_set


@pytest.mark.usefixtures("planted_past")
@pytest.mark.parametrize("state", PullSet.State.values)
def test_a_case_offers_in_every_state_what_is_then_accepted_and_nothing_else(
    desk, owner, moderator, state
):
    pull_set = in_state(state, owner, moderator)
    page = desk.get(page_of(pull_set)).content.decode()
    offered = set(re.findall(r'name="decision" value="(\w+)"', page))
    accepted = set()
    for verb in ("hold", "release", "reject", "ask"):
        again = in_state(state, contributor(f"tester {verb}"), moderator)
        try:
            if verb == "ask":
                ask(by=moderator.user, pull_set=again, text="Which reel?")
            else:
                decide(by=moderator.user, pull_set=again, decision=verb, reason="So it is.")
        except Conflict:
            continue
        accepted.add(verb)
    assert offered == accepted
    assert bool(offered) == ("withdrawn" not in state)
    assert offered or "was withdrawn by its tester" in page


def test_a_set_withdrawn_while_its_page_is_open_is_refused_by_that_word(desk, waiting, owner):
    first = waiting[0]
    body = {reason: sent(first, [], reason, "Fine.") for reason in ("reject", "ask")}
    amend.withdraw(first.session, owner, "the scale stuck")
    for each in body.values():
        page = desk.post(page_of(first), each).content.decode()
        assert "was withdrawn by its tester" in page
        assert "someone decided, asked or answered" not in page
    assert not first.messages.exists()
    assert desk.get(QUEUE).content.decode().count("/change/") == 0


def test_an_appeal_ends_where_its_set_is_withdrawn(desk, waiting, owner, moderator):
    first = waiting[0]
    decide(by=moderator.user, pull_set=first, decision="reject", reason="No.")
    appeal(by=owner.user, pull_set=first, text="Yes.")
    assert ReviewCase.objects.still_open().filter(pk=first.pk).exists()
    amend.withdraw(first.session, owner, "the scale stuck")
    assert not ReviewCase.objects.still_open().exists()
    for waits in ("", "appealed", "answered"):
        assert page_of(first) not in desk.get(QUEUE, {"waiting": waits}).content.decode()


def test_every_link_of_a_case_opens_a_page(desk, waiting, owner):
    """What a person follows is a page to read, of a session as well."""
    earlier = making.session(waiting[0].session.revision)
    making.joined(earlier, making.line("thin"), making.line("thick"), [70, 71, 72])
    page = desk.get(page_of(waiting[0])).content.decode()
    links = {each for each in re.findall(r'href="(/[^"#?]*)', page) if "/static/" not in each}
    for session in (earlier, waiting[0].session):
        assert f"/sessions/{session.pk}/" in links
    for link in sorted(links):
        answer = desk.get(link, follow=True)
        assert answer.status_code == 200, link
        assert answer.headers["Content-Type"].startswith("text/html"), link


def test_a_moderator_reads_a_session_and_is_offered_nothing_that_only_its_tester_may_do(
    desk, waiting
):
    session = waiting[0].session
    page = desk.get(reverse("pages:session", args=[session.pk])).content.decode()
    assert "Surgeon" in page
    assert "/contributors/owner/" in page
    for form in ("withdraw-session", "take-unit", "take-resolution"):
        address = reverse(f"pages:{form}", args=[session.pk])
        assert address not in page
        assert desk.post(address, {"reason": "No."}).status_code == 404


@pytest.mark.parametrize(
    ("lowest", "highest", "said"),
    [(0.716, 0.716, "71.6%"), (0.7161, 0.7159, "71.6%"), (0.702, 0.716, "70.2 to 71.6%")],
)
def test_a_range_that_reads_alike_at_both_ends_is_one_figure(lowest, highest, said):
    assert lowest_to_highest(lowest, highest) == said
