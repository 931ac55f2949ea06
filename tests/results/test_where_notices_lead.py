"""Every kind of notice leads its receiver to a page that they can open."""

import re

import pytest

from results import notices
from results.intake import amend
from results.models import Notice, WaitingSession
from results.notices import address_of
from results.review.notices import name_of
from results.rounds.set_up import set_up
from tests import making, playing
from tests.pages.test_rig_pages import browser


@pytest.fixture
def pull_set(owner):
    session = making.session(making.revision_of(owner))
    baseline = making.straight(session, making.line("thin"))
    found = making.joined(session, making.line("thin"), making.line("thick"), [70, 74, 71])
    return found, baseline


def one_of_each(pull_set, baseline) -> list[Notice]:
    """A notice of each kind, made by the verb that makes it."""
    owner = pull_set.session.contributor
    waiting = WaitingSession.objects.create(contributor=owner, body=b"{}")
    notices.notify_account(owner, "Your account.")
    of_the_club = set_up(playing.join_club(owner), playing.draft())
    notices.notify_of_round(owner, of_the_club, "It is closed.")
    return [
        notices.notify_owner(pull_set, "It waits."),
        notices.notify_owner(pull_set, "Which spool?", about=Notice.About.THREAD),
        notices.notify_owner(pull_set, "It signals.", baseline=baseline),
        notices.notify_waiting(waiting, "It is stored."),
        Notice.objects.get(about=Notice.About.ACCOUNT),
        Notice.objects.get(about=Notice.About.ROUND),
    ]


def opened(owner, notice: Notice) -> int:
    return browser(owner).get(address_of(notice).partition("#")[0]).status_code


def test_each_kind_leads_to_a_page_that_its_receiver_opens(pull_set, owner, as_owner):
    made = one_of_each(*pull_set)
    assert {notice.about for notice in made} == set(Notice.About.values)
    for notice in made:
        assert opened(owner, notice) == 200, notice.about
    assert len({address_of(notice).partition("#")[0] for notice in made}) >= 4
    bench = browser(owner).get("/bench/").content.decode()
    for notice in made:
        assert f'href="{address_of(notice)}"' in bench
    for document in as_owner.get("/api/v1/notices").json()["results"]:
        assert document["link"].startswith("http://testserver/")


def test_the_mail_of_each_kind_has_that_link_and_one_to_end_such_mail(
    pull_set, owner, settings, mailoutbox, django_capture_on_commit_callbacks
):
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    settings.SAMESPOOL_ADDRESS = "https://samespool.example"
    owner.user.email = "owner@example.org"
    owner.user.save()
    with django_capture_on_commit_callbacks(execute=True):
        made = one_of_each(*pull_set)
    assert len(mailoutbox) == len(made)
    found = [re.findall(r"https://samespool\.example(\S+)", mail.body) for mail in mailoutbox]
    assert sorted(links[0] for links in found) == sorted(map(address_of, made))
    assert {tuple(links[1:]) for links in found} == {("/account/mail/",)}
    reader = browser(owner)
    for read, change in found:
        assert reader.get(read.partition("#")[0]).status_code == 200
        assert reader.get(change).status_code == 200
    for mail in mailoutbox:  # a mail can't be taken back: no names, nothing that was written
        assert not re.search("owner(?!@)|shed winch|It waits|Which spool", mail.body)


@pytest.mark.parametrize("has_a_set", [True, False])
def test_each_kind_is_named_for_what_it_is_about_and_never_for_nothing(pull_set, owner, has_a_set):
    """Notices of accounts and rounds name a set for version 1 of the API, and are about none."""
    made = {one.about: one for one in one_of_each(*pull_set)}
    if not has_a_set:
        Notice.objects.filter(about__in=("account", "round", "waiting")).update(pull_set=None)
        made = {kind: Notice.objects.get(pk=one.pk) for kind, one in made.items()}
    names = {kind: name_of(one) for kind, one in made.items()}
    of_set = f"Blood, set {pull_set[0].pk}, 10 Jan 2026"
    assert names == {
        "set": of_set,
        "thread": of_set,
        "chart": "shed winch, 10 Jan 2026",
        "waiting": "A session that waits",
        "account": "Your account",
        "round": "Spring round",
    }
    account, bench = (browser(owner).get(at).content.decode() for at in ("/account/", "/bench/"))
    for kind, one in made.items():
        shown = f'<a href="{address_of(one)}">{names[kind]}</a>: {one.text}'
        assert shown in account
        assert shown in bench or kind == "account"  # the oldest of more than a bench shows


def test_a_notice_of_each_kind_keeps_a_name_once_its_subject_is_gone(owner):
    for about in Notice.About.values:
        assert name_of(Notice(to=owner, about=about, text="It was.")).strip()


def test_they_still_do_once_what_they_are_about_is_gone(pull_set, owner):
    made = one_of_each(*pull_set)
    amend.withdraw(pull_set[0].session, owner, "The scale stuck.")
    WaitingSession.objects.all().delete()
    for notice in Notice.objects.filter(pk__in=[each.pk for each in made]):
        assert opened(owner, notice) == 200, notice.about


def test_an_account_without_a_set_has_its_notice_too(owner):
    notices.notify_account(owner, "Suspended.")
    assert opened(owner, Notice.objects.get(to=owner)) == 200
