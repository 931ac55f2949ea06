"""Following a round: what happens in it comes by feed and by mail, once, as everyone reads it."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from results.catalogue.accepted_names import accept_from_the_beginning
from results.intake import amend
from results.models import AcceptedName, Follow, Mailing, RoundEvent, Session
from results.pages.following.follow import FOUND
from results.rounds.closing import close
from results.rounds.set_up import extend
from results.worker.mail_news import mail_news
from results.worker.round_reports import make_round_reports, renew_round_reports
from tests import playing
from tests.pages.test_feeds import feed_at, linked_feeds
from tests.stories.test_following import ADDRESS, follower, server

__all__ = ["server"]
pytestmark = pytest.mark.usefixtures("planted_past")
TITLE = "Zq spring round"
EVERYTHING = [
    "The round is open: results are in time until 15 Apr 2026.",
    "The last day for results is now 30 Apr 2026; it was 15 Apr 2026.",
    "The round is closed, and its report is being computed.",
    "The report is made.",
    "The report has a new version, 2, because what it is computed from has changed.",
]


@pytest.fixture
def entered(db):
    testers = [playing.member(f"ringer {number}") for number in range(3)]
    for tester in testers:
        playing.lent_rig(tester)
    return playing.opened(playing.member("organiser"), testers, title=TITLE)[1]


def lived(entered) -> None:
    """The round from its opening to a second version of its report."""
    of = entered[0].round
    extend(of.organiser, of, date(2026, 4, 30))
    for participant in entered:
        playing.sends(participant)
    close(of.organiser, of)
    make_round_reports()
    session = Session.objects.get(contributor=entered[0].contributor)
    amend.withdraw(session, entered[0].contributor, "the scale stuck")
    renew_round_reports()


def settled() -> None:
    RoundEvent.objects.update(at=timezone.now() - timedelta(hours=1))


def follows(client: Client, of, every: str = "day") -> None:
    way = f"/follow/round/{of.pk}/"
    assert way in client.get(f"/rounds/{of.pk}/").content.decode()
    assert client.get(way).status_code == 200
    assert client.post(way).status_code == 302
    assert client.post("/following/", {"every": every}).status_code == 302


def test_whatever_can_be_followed_has_a_page_and_a_feed():
    assert set(FOUND) == set(Follow.Subject)


def test_the_feed_of_a_round_has_each_thing_that_happened_and_only_what_is_public(entered):
    lived(entered)
    [address] = linked_feeds(f"/rounds/{entered[0].round_id}/")
    feed = feed_at(address)
    named = [f"Round {entered[0].round_id} of Harbour Club: {said}" for said in EVERYTHING[::-1]]
    assert [entry.title for entry in feed.entries] == named
    assert len({entry.id for entry in feed.entries}) == len(EVERYTHING)
    for entry in feed.entries:
        assert Client().get(entry.link).status_code == 200
    content = Client().get(address).content.decode()
    for hidden in (TITLE, "ringer", "spring reel", entered[0].round.entry_code):
        assert hidden not in content
    accept_from_the_beginning(AcceptedName.Kind.ROUND, {TITLE})
    assert feed_at(address).feed.title == f"Samespool: {TITLE}"


def test_a_follower_is_mailed_what_happened_since_once_and_each_link_opens(entered, server):
    of, client = entered[0].round, follower("passer-by")
    follows(client, of)
    settled()
    mail_news()
    assert server.taken == []  # it was open before they asked
    lived(entered)
    mail_news()
    assert server.taken == []  # what is not settled yet waits
    settled()
    mail_news()
    mail_news()
    [text] = server.texts()
    assert [said for said in EVERYTHING if said in text] == EVERYTHING[2:]  # it is closed by now
    assert f"Round {of.pk} of Harbour Club: {EVERYTHING[-1]}" in text
    assert TITLE not in text
    for link in re.findall(rf"{ADDRESS}(\S+)", text):
        assert client.get(link).status_code == 200, link
    Mailing.objects.update(mailed_at=timezone.now() - timedelta(days=2))
    mail_news()
    assert len(server.taken) == 1


def test_the_mail_of_a_day_waits_until_a_round_stands_still_and_says_what_still_holds(
    entered, server
):
    of, client = entered[0].round, follower("passer-by")
    follows(client, of)
    extend(of.organiser, of, date(2026, 4, 20))
    settled()
    extend(of.organiser, of, date(2026, 4, 30))
    mail_news()
    assert server.taken == []
    settled()
    mail_news()
    [text] = server.texts()
    assert "The last day for results is now 30 Apr 2026" in text
    assert "is now 20 Apr 2026" not in text
    assert "The round is open" not in text  # until a day that is over as a last one


def test_what_a_server_refused_comes_again_and_who_stops_gets_no_more(entered, server):
    of, client = entered[0].round, follower("passer-by")
    follows(client, of)
    lived(entered)
    settled()
    server.answer = "451 try again later"
    mail_news()
    server.answer = "250 OK"
    Mailing.objects.update(again_at=timezone.now() - timedelta(seconds=1))
    mail_news()
    [text] = server.texts()
    assert EVERYTHING[-1] in text
    client.post(f"/follow/round/{of.pk}/", {"stop": "1"})
    assert "Nothing yet." in client.get("/following/").content.decode()
    amend.withdraw(
        Session.objects.get(contributor=entered[1].contributor), entered[1].contributor, "misread"
    )
    renew_round_reports()
    settled()
    Mailing.objects.update(mailed_at=timezone.now() - timedelta(days=2))
    mail_news()
    assert len(server.taken) == 1


def test_a_round_that_is_being_set_up_can_be_followed_and_has_a_feed_of_nothing_yet(db):
    made = playing.set_up(playing.member("organiser"), playing.draft())
    assert feed_at(f"/feeds/rounds/{made.pk}.atom").entries == []
    assert Client().get("/feeds/rounds/999.atom").status_code == 404
    assert Client().get("/follow/round/999/").status_code == 404
