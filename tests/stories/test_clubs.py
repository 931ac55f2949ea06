"""How a person gets into a club: by the invitation of a member, and out of it again."""

import re
from datetime import timedelta

import pytest
from django.core import signing
from django.test import Client
from django.utils import timezone

from results.accounts.close import close_account
from results.accounts.clubs import HOLDS_FOR, SALT, invite
from rigs.models import Club, Suspension
from rigs.refusals import Forbidden
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import contributor

WAY = re.compile(r'href="http://testserver(/clubs/invitation/[^"]+)"')


@pytest.fixture
def member(db):
    return playing.member("organiser")


def link_of(member) -> str:
    """As the club's page shows it to a member."""
    page = browser(member).get(f"/clubs/{member.club_id}/")
    assert "no-store" in page["Cache-Control"]
    [link] = set(WAY.findall(page.content.decode()))
    return link


def test_who_is_invited_joins_and_sets_up_a_round(member):
    newcomer = contributor("newcomer")
    client = browser(newcomer)
    assert "Ask a member of your club for an invitation" in Page(client.get("/rounds/")).text
    link = link_of(member)
    page = Page(client.get(link)).text
    assert "organiser invites you into Harbour Club." in page
    newcomer.refresh_from_db()
    assert newcomer.club is None  # looking joins nothing
    assert client.post(link)["Location"] == f"/clubs/{member.club_id}/"
    newcomer.refresh_from_db()
    assert newcomer.club == member.club
    assert "Set up a round of Harbour Club" in Page(client.get("/rounds/")).text
    assert "You are a member already." in Page(client.get(link)).text
    assert link_of(newcomer) != link  # and invites others


def test_a_guest_signs_in_first_and_comes_back_and_sees_no_link(member):
    link = link_of(member)
    assert Client().get(link)["Location"] == f"/sign-in/?next={link}".replace(":", "%3A")
    for outsider in (Client(), browser(contributor("newcomer"))):
        assert not WAY.search(outsider.get(f"/clubs/{member.club_id}/").content.decode())
    with pytest.raises(Forbidden):
        invite(contributor("another"))


@pytest.mark.parametrize("end", ["left", "closed", "suspended", "cut short", "another club's"])
def test_an_invitation_that_is_no_more_good_lets_nobody_in(member, end):
    link = link_of(member)
    if end == "left":
        assert browser(member).post("/clubs/leave/").status_code == 302
    elif end == "closed":
        close_account(member, keep=True)
    elif end == "suspended":
        Suspension.objects.create(contributor=member, by=member.user, reason="noise")
    elif end == "cut short":
        link = f"{link[:-5]}/"
    else:
        jetty = Club.objects.create(name="Jetty Club")
        link = f"/clubs/invitation/{signing.dumps([jetty.pk, member.pk], salt=SALT)}/"
    newcomer = contributor("newcomer")
    for answer in (browser(newcomer).get(link), browser(newcomer).post(link)):
        assert answer["Location"] == "/rounds/"
    newcomer.refresh_from_db()
    assert newcomer.club is None


def test_an_invitation_holds_for_two_weeks(member, monkeypatch):
    link, newcomer = link_of(member), contributor("newcomer")
    later = timezone.now() + HOLDS_FOR + timedelta(minutes=1)
    monkeypatch.setattr("django.core.signing.time.time", later.timestamp)
    assert browser(newcomer).post(link)["Location"] == "/rounds/"
    newcomer.refresh_from_db()
    assert newcomer.club is None


def test_one_is_a_member_of_one_club_at_a_time_and_is_told_so_before(member):
    other = playing.member("wanderer", "Weir Club")
    client, link = browser(other), link_of(member)
    assert "You would leave Weir Club" in Page(client.get(link)).text
    client.post(link)
    other.refresh_from_db()
    assert other.club == member.club
    client.post("/clubs/leave/")
    other.refresh_from_db()
    assert other.club is None
