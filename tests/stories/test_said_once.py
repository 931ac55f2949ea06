"""What pages say of a set that waits: one figure everywhere, and each finding once a page."""

import re
from collections import Counter
from html.parser import HTMLParser

import pytest
from django.test import Client

from results.jobs.queue import enqueue
from results.models import Pool, PullSet, ReviewCase
from results.models.lifecycle import move
from results.review.decisions import ask, decide
from results.review.selectors import check_records, check_results_of, holds_of
from results.worker.embedded import drain
from tests import making
from tests.stories.test_review_desk import QUEUE, desk, page_of, read_first  # noqa: F401
from tests.stories.test_second_look import STRAIGHT_N, account, high, league, newcomer  # noqa: F401

pytestmark = pytest.mark.usefixtures("planted_past")

OF_ITS_LINE = re.compile(r"(\d+(?:\.\d+)?)(?:%| percent) of (?:the|its) straight line")
MOVES = re.compile(r"[+-]\d+\.\d+%")
SENTENCE = re.compile(r"[A-Z][^.?!]{39,}[.?!]")


class Words(HTMLParser):
    """The words that a page shows, without what is written in the forms on it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said, self._inside = list[str](), list[str]()
        self.feed(page)

    def handle_starttag(self, tag, _attrs):
        if tag in ("script", "style", "textarea", "title", "nav", "svg"):
            self._inside.append(tag)

    def handle_endtag(self, tag):
        if self._inside and tag == self._inside[-1]:
            self._inside.pop()

    def handle_data(self, data):
        if not self._inside:
            self.said.append(data)


def words_of(page: str) -> str:
    return " ".join(" ".join(Words(page).said).split())


def session_of(person, *means_N: float) -> list[PullSet]:
    """One session with a set about each of these means, of straight line near 100 N."""
    revision = making.revision_of(person, name=f"bench {person.rigs.count()}")
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main, [load + 0.7 for load in STRAIGHT_N])
    shapes = ((-3.0, 2.5, 0.4, 4.1, -1.6), (1.2, -2.8, 3.7, -0.9, 2.2), (2.4, 0.3, -3.3, 1.9, 3.1))
    sets = [
        making.joined(session, main, leader, [mean_N + by_N for by_N in shapes[number]])
        for number, mean_N in enumerate(means_N)
    ]
    enqueue(session)
    drain()
    for each in sets:
        each.refresh_from_db()
    return sets


@pytest.fixture
def two_high(league, newcomer) -> list[PullSet]:  # noqa: F811
    """Two sets of one session in one pool, which wait for what they move together."""
    sets = session_of(newcomer, 92.0, 93.0)
    assert [each.state for each in sets] == ["held", "held"]
    return sets


@pytest.fixture
def too_strong(league, newcomer) -> PullSet:  # noqa: F811
    """A set stronger than its line, by a factor whose mean reads otherwise in the log."""
    [held] = session_of(newcomer, 138.0)
    assert held.state == "held"
    return held


def pages_of(pull_set, desk) -> dict[str, str]:  # noqa: F811
    """Each page on which its tester or a moderator reads of a set, in words."""
    tester = Client()
    tester.force_login(pull_set.session.contributor.user)
    own = [
        "/bench/",
        f"/pull-sets/{pull_set.pk}/",
        f"/sessions/{pull_set.session_id}/",
        "/account/",
    ]
    pages = {address: tester.get(address) for address in own}
    pages |= {page_of(pull_set): desk.get(page_of(pull_set))}
    assert {answer.status_code for answer in pages.values()} == {200}
    return {address: words_of(answer.content.decode()) for address, answer in pages.items()}


def moved_in_queue(desk, pull_set) -> str:  # noqa: F811
    rows = desk.get(QUEUE).content.decode().split("<tr")
    [row] = [each for each in rows if f"/{pull_set.pk}/change/" in each]
    return MOVES.search(row).group()


def test_queue_case_bench_and_set_say_one_figure_of_what_a_set_moves(desk, two_high):  # noqa: F811
    """It was held for what both move, before the pool had any other version."""
    for pull_set in two_high:
        moved = moved_in_queue(desk, pull_set)
        pages = pages_of(pull_set, desk)
        assert f"the set changes it by {moved}" in pages[page_of(pull_set)]
        for address in ("/bench/", f"/pull-sets/{pull_set.pk}/", page_of(pull_set)):
            assert f"this set by itself moves the figure by {moved}" in pages[address], address


def test_what_a_held_set_moves_is_found_again_when_it_is_worked_out_again(desk, two_high):  # noqa: F811
    """The pool itself has no other version by that."""
    first = two_high[0]
    for pull in first.pulls.all():
        first.pulls.filter(pk=pull.pk).update(reading_N=(pull.reading_N or 0.0) + 4.0)
    enqueue(first.session)
    drain()
    assert (
        f"the set changes it by {moved_in_queue(desk, first)}"
        in pages_of(first, desk)[page_of(first)]
    )


def test_a_check_s_figure_and_its_sentence_say_the_same(two_high):
    check = holds_of(two_high[0]).get()
    assert f"by +{check.figure:.1f} percent" in check.sentence
    assert f"From {check.threshold:.1f} percent" in check.sentence


def test_every_page_says_one_efficiency_of_a_set(desk, too_strong, moderator):  # noqa: F811
    said = {
        (address, found)
        for address, words in pages_of(too_strong, desk).items()
        for found in OF_ITS_LINE.findall(words)
    }
    assert len({address for address, _found in said}) >= 3
    assert {found for _address, found in said} == {f"{100 * too_strong.normalised.efficiency:.1f}"}


def test_no_page_says_a_finding_twice(desk, too_strong, moderator):  # noqa: F811
    ask(
        by=moderator.user,
        pull_set=too_strong,
        text="Was it the spool with the yellow label, please?",
    )
    _say_each_sentence_once(too_strong, pages_of(too_strong, desk))
    decide(
        by=moderator.user,
        pull_set=too_strong,
        decision="reject",
        reason="The straight line came off a spool that lay in the sun for a summer.",
    )
    pages = pages_of(too_strong, desk)
    _say_each_sentence_once(too_strong, pages)
    assert "lay in the sun for a summer" in pages[page_of(too_strong)]
    assert "lay in the sun for a summer" in pages["/bench/"]


def test_nor_of_a_set_that_waits_for_a_second_look(desk, high):  # noqa: F811
    _say_each_sentence_once(high, pages_of(high, desk))


def _say_each_sentence_once(pull_set, pages: dict[str, str]) -> None:
    """But for what several checks found each, which may have one explanation."""
    found = check_results_of(pull_set).values_list("sentence", flat=True)
    may_be = Counter(said for sentence in found for said in SENTENCE.findall(sentence))
    for address, words in pages.items():
        counts = Counter(SENTENCE.findall(words)).items()
        twice = {said: n for said, n in counts if n > max(1, may_be[said])}
        assert twice == {}, address


def test_releases_that_move_a_pool_far_together_are_asked_about_first(desk, two_high):  # noqa: F811
    """From the screen of a case and from the queue alike; what was read counts for those sets."""
    first, second = two_high
    sent = {
        "action": "release_many",
        "_selected_action": [first.pk, second.pk],
        "reason": "The film shows them.",
    }
    marked = read_first(desk, QUEUE, sent)
    assert set(PullSet.objects.filter(pk__in=[first.pk, second.pk]).values_list("state")) == {
        ("held",)
    }
    page = words_of(desk.post(QUEUE, sent).content.decode())
    together = float(re.search(r"by \+(\d+\.\d)%", page).group(1))
    assert together > float(moved_in_queue(desk, first).strip("+%"))
    before, after = map(float, re.search(r"from ([\d.]+) to ([\d.]+) percent", page).groups())
    assert after / before == pytest.approx(1 + together / 100, abs=0.002)
    desk.post(QUEUE, marked)
    first.refresh_from_db()
    assert first.state == "released"
    drain()
    assert Pool.objects.get().current.efficiency == pytest.approx(after / 100, abs=0.0006)


def test_a_warning_that_was_read_is_of_those_sets_and_figures_alone(desk, two_high, league):  # noqa: F811
    first, second = two_high
    sent = {
        "action": "release_many",
        "_selected_action": [first.pk, second.pk],
        "reason": "The film shows them.",
    }
    marked = read_first(desk, QUEUE, sent)
    session_of(account("tester 9", joined=9), 79.5)
    assert "Released together" in desk.post(QUEUE, marked).content.decode()
    assert ReviewCase.objects.still_open().filter(pull_set__in=[first, second]).count() == 2


def test_releases_that_add_up_to_little_go_through(desk, league, moderator):  # noqa: F811
    near = [session_of(account(f"tester {n}", joined=n), 76.0 + n)[0] for n in (5, 6)]
    for each in near:
        decide(by=moderator.user, pull_set=each, decision="hold", reason="A closer look first.")
    sent = {
        "action": "release_many",
        "_selected_action": [each.pk for each in near],
        "reason": "They are in order.",
    }
    assert desk.post(QUEUE, sent).status_code == 302


def test_pages_say_of_each_state_whether_a_set_counts(desk, too_strong, moderator):  # noqa: F811
    def said() -> set[str]:
        pages = pages_of(too_strong, desk)
        found = re.compile(r"it counts in (?:its pool|no pool(?: until it is released)?)")
        own = (f"/pull-sets/{too_strong.pk}/", f"/sessions/{too_strong.session_id}/")
        return {one.group() for address in own for one in [found.search(pages[address])] if one}

    assert said() == {"it counts in no pool until it is released"}
    decide(by=moderator.user, pull_set=too_strong, decision="reject", reason="Another spool.")
    assert said() == {"it counts in no pool"}
    decide(by=moderator.user, pull_set=too_strong, decision="release", reason="It was not.")
    assert said() == {"it counts in its pool"}


def test_a_session_that_was_withdrawn_is_found_again_on_the_bench(too_strong):
    tester = Client()
    tester.force_login(too_strong.session.contributor.user)
    address = f"/sessions/{too_strong.session_id}/"
    assert "Withdrawn sessions" not in words_of(tester.get("/bench/").content.decode())
    tester.post(f"{address}withdraw/", {"reason": "the hook of the scale was bent"})
    page = tester.get("/bench/").content.decode()
    assert f'href="{address}"' in page
    assert "the hook of the scale was bent" in words_of(page)


def test_the_record_of_a_check_accounts_for_every_set_that_it_held(desk, high, moderator):  # noqa: F811
    by_name = {one.name: one for one in check_records()}
    record = by_name["influence on the pool"]
    assert (record.held, record.waiting, record.by_itself, record.decided) == (1, 1, 0, 0)
    move([high], PullSet.State.RELEASED, reason="settled")
    [record] = check_records()
    assert (record.held, record.waiting, record.by_itself, record.decided) == (1, 0, 1, 0)
    decide(by=moderator.user, pull_set=high, decision="reject", reason="Another line.")
    [record] = check_records()
    assert (record.held, record.waiting, record.by_itself, record.decided) == (1, 0, 0, 1)
    assert "0% of 1 decided" in words_of(desk.get(QUEUE).content.decode())
