"""Following: what followers get by mail, once, and how they end it. A mail server takes it."""

import socket
from collections.abc import Iterator
from datetime import timedelta
from email import message_from_bytes
from email.message import Message

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope
from allauth.account.models import EmailAddress
from django.test import Client
from django.utils import timezone

from results.models import Follow, Mailing, Pool, PoolVersion, PullSet
from results.review import decisions
from results.worker.embedded import drain
from results.worker.mail_news import mail_news
from tests.pages.conftest import once, pool_of
from tests.people import contributor

__all__ = ["once"]
pytestmark = pytest.mark.usefixtures("planted_past")  # `settled` moves versions into the past
ADDRESS = "https://pulls.example"


class Server:
    """A mail server: what it took, and how it answers the next mail where that is said."""

    def __init__(self) -> None:
        self.taken: list[Envelope] = []
        self.answer = "250 OK"
        self.hangs_up = False

    async def handle_DATA(self, server: SMTP, _session, envelope: Envelope) -> str:
        if self.answer.startswith("250"):
            self.taken.append(envelope)
        if self.hangs_up:
            server.transport.abort()
        return self.answer

    def texts(self) -> list[str]:
        return [mail.get_payload(decode=True).decode() for mail in self.mails()]

    def mails(self) -> list[Message]:
        return [message_from_bytes(envelope.content) for envelope in self.taken]


@pytest.fixture
def server(settings) -> Iterator[Server]:
    found = Server()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(found, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    settings.SAMESPOOL_ADDRESS = ADDRESS
    yield found
    controller.stop()


@pytest.fixture
def league(once, db) -> None:
    settled()


def settled() -> None:
    """Every version was computed a while ago."""
    PoolVersion.objects.update(computed_at=timezone.now() - timedelta(hours=1))


def follower(handle: str = "marram", *, confirmed: bool = True) -> Client:
    """Somebody with an address, signed in."""
    user = contributor(handle).user
    user.email = f"{handle}@example.org"
    user.save()
    EmailAddress.objects.create(user=user, email=user.email, primary=True, verified=confirmed)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def follows(client: Client, subject: str, number: int, every: str = "day") -> None:
    assert client.post(f"/follow/{subject}/{number}/").status_code == 302
    assert client.post("/following/", {"every": every}).status_code == 302


def changes(moderator, tie: str = "Blood", at: int = 0) -> Pool:
    """A moderator holds a set, or releases it again, and the pool's figure changes."""
    taken_out = PullSet.objects.filter(connection__name=tie).order_by("pk")[at]
    decision = "release" if taken_out.state == PullSet.State.HELD else "hold"
    decisions.decide(by=moderator.user, pull_set=taken_out, decision=decision, reason="Which?")
    drain()
    settled()
    return Pool.objects.select_related("current").get(pk=pool_of(tie).pk)


def test_a_follower_gets_one_mail_with_a_line_a_pool_and_no_second_one_that_day(
    league, moderator, server
):
    client = follower()
    follows(client, "pool", pool_of("Blood").pk)
    mail_news()
    assert server.taken == []  # nothing is new since they asked
    before = pool_of("Blood").current.efficiency
    changes(moderator), changes(moderator)
    pool = changes(moderator)
    changes(moderator, "Surgeon's")
    mail_news()
    mail_news()
    [text] = server.texts()
    assert text.count("Blood, ") == 1
    assert "Surgeon's" not in text
    assert "3 new versions" in text
    assert f"{100 * pool.current.efficiency:.1f}% (" in text
    assert f"it was {100 * before:.1f}%" in text
    assert f"{ADDRESS}/pools/{pool.pk}/versions/{pool.current.number}/" in text
    assert server.taken[0].rcpt_tos == ["marram@example.org"]
    changes(moderator)
    mail_news()
    assert len(server.taken) == 1  # at most once a day
    Mailing.objects.update(mailed_at=timezone.now() - timedelta(days=1, minutes=1))
    mail_news()
    assert len(server.taken) == 2
    assert "1 new version," in server.texts()[1]


@pytest.mark.parametrize("subject", ["everything", "join", "line-pair", "tester"])
def test_each_kind_of_thing_can_be_followed_from_its_page(league, moderator, server, subject):
    pool = pool_of("Blood")
    tester = PullSet.objects.filter(connection__name="Blood").order_by("pk").first()
    number = {
        "everything": 0,
        "join": pool.connection_id,
        "line-pair": pool.pk,
        "tester": tester.session.contributor_id,
    }[subject]
    client = follower()
    follows(client, subject, number)
    changes(moderator)
    mail_news()
    [text] = server.texts()
    assert "Blood, " in text
    page = client.get("/following/").content.decode()
    assert "Stop following" in page
    client.post(f"/follow/{subject}/{number}/", {"stop": "1"})
    assert not Follow.objects.exists()


def test_nobody_is_mailed_who_did_not_ask_or_has_no_confirmed_address(league, moderator, server):
    asked_for_none = follower("asked_for_none")
    asked_for_none.post("/follow/everything/0/")
    follows(follower("unconfirmed", confirmed=False), "everything", 0)
    follows(follower("weekly"), "everything", 0, every="week")
    Mailing.objects.filter(every="week").update(mailed_at=timezone.now() - timedelta(days=2))
    changes(moderator)
    mail_news()
    assert server.taken == []


def test_one_click_ends_the_mail_without_signing_in_and_opening_the_link_does_not(
    league, moderator, server
):
    follows(follower(), "everything", 0)
    changes(moderator)
    mail_news()
    [mail] = server.mails()
    link = mail["List-Unsubscribe"].strip().removeprefix(f"<{ADDRESS}").removesuffix(">")
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert f"{ADDRESS}{link}" in server.texts()[0]
    stranger = Client(enforce_csrf_checks=True)
    assert stranger.get(link).status_code == 200
    assert Mailing.objects.get().every == "day"
    answer = stranger.post(link, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert Mailing.objects.get().every == "never"
    assert Follow.objects.exists()


@pytest.mark.parametrize("answer", ["451 try again later", "554 no thanks", "421 closing"])
def test_a_refused_mail_is_sent_again_later_with_what_is_new_by_then(
    league, moderator, server, answer
):
    follows(follower(), "everything", 0)
    changes(moderator)
    server.answer = answer
    mail_news()
    mail_news()  # too early
    server.answer = "250 OK"
    assert Mailing.objects.get().refused == 1
    changes(moderator, "Surgeon's")
    mail_news()
    assert server.taken == []
    Mailing.objects.update(again_at=timezone.now() - timedelta(seconds=1))
    mail_news()
    [text] = server.texts()
    assert "Blood, " in text
    assert "Surgeon's, " in text
    assert Mailing.objects.get().refused == 0


def test_no_server_refuses_as_well(league, moderator, server, settings):
    follows(follower(), "everything", 0)
    changes(moderator)
    there = settings.EMAIL_PORT
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        settings.EMAIL_PORT = free.getsockname()[1]
    mail_news()
    settings.EMAIL_PORT = there
    Mailing.objects.update(again_at=timezone.now() - timedelta(seconds=1))
    mail_news()
    assert len(server.taken) == 1


def test_where_the_answer_is_lost_nobody_gets_it_twice(league, moderator, server):
    follows(follower(), "everything", 0)
    changes(moderator)
    server.hangs_up = True
    mail_news()
    server.hangs_up = False
    Mailing.objects.update(mailed_at=timezone.now() - timedelta(days=2))
    mail_news()
    assert len(server.taken) == 1


def test_a_figure_that_was_taken_down_is_not_mailed(league, moderator, server):
    follows(follower(), "everything", 0)
    pool = changes(moderator)
    figure = f"{100 * pool.current.efficiency:.1f}%"
    taken_out = PullSet.objects.filter(connection__name="Blood").order_by("pk")[2]
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which?")
    mail_news()
    assert all(figure not in text for text in server.texts())


def test_a_figure_that_changed_again_just_now_waits_for_the_next_mail(league, moderator, server):
    follows(follower(), "everything", 0)
    superseded = changes(moderator)
    newer = changes(moderator)
    PoolVersion.objects.filter(pk=newer.current_id).update(computed_at=timezone.now())
    mail_news()
    [text] = server.texts()
    assert f"{100 * superseded.current.efficiency:.1f}%" not in text
    assert "it has changed again just now" in text
    assert f"{ADDRESS}/pools/{newer.pk}/" in text
    assert f"/pools/{newer.pk}/versions/" not in text
    settled()
    Mailing.objects.update(mailed_at=timezone.now() - timedelta(days=1, minutes=1))
    mail_news()
    assert f"{100 * newer.current.efficiency:.1f}%" in server.texts()[1]


def test_who_follows_without_mail_reads_that_none_comes(league, server):
    client = follower()
    answer = client.post(f"/follow/pool/{pool_of('Blood').pk}/", follow=True)
    assert answer.redirect_chain == [("/following/#mail", 302)]
    assert "You get no mail of it yet" in answer.content.decode()
    client.post("/following/", {"every": "day"})
    another = pool_of("Surgeon's")
    answer = client.post(f"/follow/pool/{another.pk}/", follow=True)
    assert "You get no mail of it yet" not in answer.content.decode()


def test_closing_the_account_ends_what_one_follows(league, moderator, server):
    client = follower()
    follows(client, "everything", 0)
    user = Follow.objects.get().contributor.user
    user.set_password("cork tape and a long line")
    user.save()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    closing = {"password": "cork tape and a long line", "sessions": "keep"}
    assert client.post("/account/close/", closing).status_code == 302
    assert not Follow.objects.exists()
    assert not Mailing.objects.exists()
    changes(moderator)
    mail_news()
    assert server.taken == []
