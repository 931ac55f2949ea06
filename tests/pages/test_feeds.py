"""Feeds of what is new, read by a kept parser of feeds as a follower's reader would."""

import re

import feedparser
from django.test import Client

from results.models import Pool, PullSet
from results.review import decisions
from results.worker.embedded import drain
from tests.pages.conftest import pool_of


def feed_at(address: str, client: Client | None = None) -> feedparser.FeedParserDict:
    response = (client or Client()).get(address)
    assert response.status_code == 200, response.status_code
    assert response["Content-Type"].startswith("application/atom+xml")
    found = feedparser.parse(
        response.content, response_headers={"content-type": response["Content-Type"]}
    )
    assert not found.bozo, found.get("bozo_exception")
    return found


def linked_feeds(page: str) -> list[str]:
    """The feeds that a page names to the reader's program, and links to for people."""
    response = Client().get(page)
    found = re.findall(
        r'<link rel="alternate" type="application/atom\+xml"[^>]*href="([^"]+)"',
        response.content.decode(),
    )
    ways = re.findall(r'href="(/follow/[^"]+)"', response.content.decode())
    for feed in found:
        assert any(feed in Client().get(way).content.decode() for way in ways), "no link to follow"
    return [each.replace("&amp;", "&") for each in found]


def test_each_page_that_one_can_follow_names_its_feed_and_the_feed_is_sound(league, read):
    pool = pool_of("Blood")
    tester = PullSet.objects.filter(connection__name="Blood").first().session.contributor
    pair = next(link for link in read(f"/pools/{pool.pk}/").links() if link.startswith("/compare/"))
    for page in (
        "/",
        f"/pools/{pool.pk}/",
        f"/connections/{pool.connection_id}/",
        pair,
        f"/contributors/{tester.handle}/",
    ):
        [address] = linked_feeds(page)
        feed = feed_at(address)
        assert feed.version == "atom10"
        assert feed.feed.title.startswith("Samespool")
        assert feed.feed.id
        [own] = [link.href for link in feed.feed.links if link.rel == "self"]
        assert own == f"http://testserver{address}"
        assert feed.entries
        assert len({entry.id for entry in feed.entries}) == len(feed.entries)
        for entry in feed.entries:
            assert entry.updated_parsed.tm_year >= 2026
            assert Client().get(entry.link).status_code == 200


def test_an_entry_says_from_what_to_what_the_figure_went_by_which_sets_and_why(league, moderator):
    pool = pool_of("Blood")
    before = pool.current.efficiency
    taken_out = PullSet.objects.filter(connection__name="Blood").first()
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?")
    drain()
    now = Pool.objects.select_related("current").get(pk=pool.pk).current
    newest = feed_at(f"/feeds/pools/{pool.pk}.atom").entries[0]
    assert newest.title.startswith("Blood, ")
    assert newest.link.endswith(f"/pools/{pool.pk}/versions/{now.number}/")
    assert f"{100 * now.efficiency:.1f}% (" in newest.summary
    assert f"it was {100 * before:.1f}%" in newest.summary
    assert "1 set was removed." in newest.summary
    assert f"set {taken_out.pk}" in newest.summary
    assert "Which scale?" not in newest.summary
    tester = feed_at(f"/feeds/contributors/{taken_out.session.contributor_id}.atom")
    assert newest.id in {entry.id for entry in tester.entries}


def test_a_feed_that_has_not_changed_is_answered_in_a_line(league, moderator):
    address = f"/feeds/pools/{pool_of('Blood').pk}.atom"
    tag = Client().get(address)["ETag"]
    assert Client().get(address, headers={"If-None-Match": tag}).status_code == 304
    taken_out = PullSet.objects.filter(connection__name="Blood").first()
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?")
    drain()
    assert Client().get(address, headers={"If-None-Match": tag}).status_code == 200


def test_who_does_not_show_their_sets_has_no_feed(league):
    tester = PullSet.objects.filter(connection__name="Blood").first().session.contributor
    type(tester).objects.filter(pk=tester.pk).update(shows_sets=False)
    assert Client().get(f"/feeds/contributors/{tester.pk}.atom").status_code == 404
    assert linked_feeds(f"/contributors/{tester.handle}/") == []


def test_a_feed_of_what_never_was_is_not_found(league):
    for address in (
        "pools/10000.atom",
        "connections/10000.atom",
        "contributors/10000.atom",
        "line-pair.atom",
    ):
        assert Client().get(f"/feeds/{address}").status_code == 404
