"""My bench: rigs, sessions, what is held and why; my tying beside the pool; the page at the rig."""

import pytest
from django.test import Client

from results.jobs.queue import enqueue
from results.models import Message, PullSet, Screening
from results.models.lifecycle import State, move
from results.notices import notify_owner
from results.review import decisions
from results.worker.embedded import drain
from rigs.models import Contributor
from tests import making
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

ADDRESSES = ["/bench/", "/bench/tying/", "/at-the-rig/", "/recordings/"]


@pytest.fixture
def tester(league) -> Contributor:
    return Contributor.objects.get(handle="tester 0")


@pytest.fixture
def at_home(tester) -> Client:
    return browser(tester)


@pytest.fixture
def held(tester) -> PullSet:
    """A set of the tester's that a check holds."""
    pull_set = PullSet.objects.filter(session__contributor=tester).first()
    move([pull_set], State.HELD, reason="held by a check")
    Screening.objects.create(session=pull_set.session).checks.create(
        pull_set=pull_set,
        name="repeated_values",
        applies_to="set",
        figure=0.0001,
        threshold=0.01,
        level="hold",
        sentence="Five of six readings are the same.",
        source="common practice, no source",
    )
    return pull_set


@pytest.mark.parametrize("address", ADDRESSES)
def test_each_page_is_for_those_signed_in_small_labelled_and_of_few_queries(
    at_home, held, address, django_assert_max_num_queries
):
    assert Client().get(address).headers["Location"].startswith(f"/sign-in/?next={address}")
    notify_owner(held, "Have a look.")
    with django_assert_max_num_queries(24):
        answer = at_home.get(address)
    page = Page(answer)
    assert len(answer.content) < 150_000
    assert "eye protection" in page.text
    assert len(page.all("h1")) == 1
    assert [found for found in page.all("script") if "src" not in found] == []
    assert [found for _, found in page.elements if "style" in found] == []
    fields = [*page.all("input"), *page.all("select"), *page.all("textarea")]
    shown = {field["id"] for field in fields if field.get("type") != "hidden"}
    assert shown <= {label["for"] for label in page.all("label")}


def test_an_account_without_a_handle_is_led_to_choose_one_and_then_has_a_bench(admin_client):
    assert admin_client.get("/bench/").headers["Location"] == "/account/join/"
    wrong = admin_client.post("/account/join/", {"handle": "!", "agreed": "on"})
    assert wrong.status_code == 422
    assert "letters and digits" in Page(wrong).text
    taken = admin_client.post("/account/join/", {"handle": "Keeper", "agreed": "on"})
    assert taken.headers["Location"] == "/bench/"
    keeper = Contributor.objects.get(handle="Keeper")
    assert keeper.licence == "CC-BY-4.0"
    assert "Keeper" in Page(admin_client.get("/bench/")).text


def test_the_bench_shows_rigs_as_they_stand_and_sessions_with_their_jobs(owner):
    expired = making.revision_of(owner)
    making.calibrate(expired, gain=1.0, offset_N=0.0)
    making.revision_of(owner, name="new rig")
    session = making.session(expired)
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick", label_N=180), [80, 84, 82])
    job = enqueue(session)
    page = Page(browser(owner).get("/bench/"))
    assert "calibrat" in page.text
    assert "2 Sep 2025" in page.text
    assert "not calibrated" in page.text
    assert "in progress" in page.text
    assert f"/jobs/{job.pk}/" in page.links()


def test_the_bench_is_ones_own(tester, held):
    strangers = browser(Contributor.objects.get(handle="tester 1"))
    assert "Five of six" not in Page(strangers.get("/bench/")).text
    answer = strangers.post(f"/bench/sets/{held.pk}/say/", {"text": "mine"})
    assert answer.status_code == 404
    assert not Message.objects.exists()


def test_what_is_held_is_reported_in_plain_words_with_its_figures_and_can_be_answered(
    at_home, held
):
    text = Page(at_home.get("/bench/")).text
    assert "Five of six readings are the same." in text
    assert "repeated values: 0.000, threshold 0.010" in text
    at_home.post(f"/bench/sets/{held.pk}/say/", {"text": "The scale sticks at 18."})
    assert Message.objects.get().kind == "answer"
    page = Page(at_home.get("/bench/"))
    assert "The scale sticks at 18." in page.text
    assert page.all("button", name="appeal") == []


def test_a_decision_of_a_person_can_be_appealed_from_the_bench(at_home, held, moderator):
    decisions.decide(by=moderator.user, pull_set=held, decision="reject", reason="Not explained.")
    page = Page(at_home.get("/bench/"))
    assert "Not explained." in page.text
    assert page.all("button", name="appeal")
    at_home.post(f"/bench/sets/{held.pk}/say/", {"text": "Look again.", "appeal": "yes"})
    assert Message.objects.filter(kind="appeal").count() == 1


def test_saying_nothing_gets_that_answer(at_home, held):
    answer = at_home.post(f"/bench/sets/{held.pk}/say/", {"text": " "}, follow=True)
    assert "This can't be" in Page(answer).text
    assert not Message.objects.exists()


def test_news_stay_until_they_were_read(at_home, held):
    notify_owner(held, "A moderator asks about the spool.")
    assert "about the spool" in Page(at_home.get("/bench/")).text
    at_home.post("/bench/notices/read/", {"notice": held.notices.values_list("pk", flat=True)})
    assert "about the spool" not in Page(at_home.get("/bench/")).text


def test_my_tying_stands_beside_the_pool_without_me_as_the_api_says_it(at_home, tester):
    text = Page(at_home.get("/bench/tying/")).text
    answer = at_home.get(f"/api/v1/pools/{pool_of('Blood').pk}/comparison").json()
    own, others = answer["own"]["efficiency"], answer["others"]["efficiency"]
    assert f"{100 * own:.1f}% yours; the others {100 * others:.1f}%" in text
    assert "From 1 of your sets" in text
    assert f"{100 * answer['comparison']['ratio']:.1f}% of the others'" in text
    assert "the range expected of a tester" in text
    assert "Work on" in text


def test_a_weak_tie_that_counts_is_advised_on(league, owner, moderator):
    rng_free = [60.0, 61.0, 59.5, 60.5, 60.2, 59.8]
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    lines = making.line("thin"), making.line("thick nylon monofilament", label_N=180)
    for _ in range(4):
        session = making.session(revision)
        making.straight(session, lines[0])
        making.joined(session, *lines, rng_free)
        enqueue(session)
    drain()
    waiting = list(PullSet.objects.filter(session__contributor=owner, state=State.HELD))
    decisions.decide_many(
        by=moderator.user, pull_sets=waiting, decision="release", reason="Weak, and right."
    )
    drain()
    page = Page(browser(owner).get("/bench/tying/"))
    assert "Strength: your ties hold less" in page.text


def test_a_pool_short_of_one_tester_is_what_to_pull_first(at_home):
    text = Page(at_home.get("/bench/tying/")).text
    first = text[text.index("Pull next:") :][:60]
    assert "Albright" in first
    assert "2 testers so far: yours brings its figure nearer" in text


def test_where_the_others_are_too_few_it_is_said_instead(league):
    newcomer = browser(Contributor.objects.get(handle="newcomer 0"))
    text = Page(newcomer.get("/bench/tying/")).text
    assert "The others alone can't be pooled" in text


def test_at_the_rig_offers_ones_own_rigs_and_says_what_it_needs(at_home, tester):
    page = Page(at_home.get("/at-the-rig/"))
    rigs = {each["value"] for each in page.all("option") if "data-revision" in each}
    assert rigs == set(tester.rigs.values_list("name", flat=True))
    assert "This page needs JavaScript" in page.text
    assert page.all("div", id="rig")[0].keys() >= {"hidden"}
    earlier = page.all("tr", **{"data-line": "thin"})
    assert earlier
    assert float(earlier[0]["data-mean"]) == pytest.approx(100, rel=0.05)


def test_the_service_worker_is_served_where_it_may_work(client):
    answer = client.get("/at-the-rig/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert b"addEventListener" in answer.content
