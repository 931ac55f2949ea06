"""A notice is kept for API and page, and mailed where the service may send mail."""

import socket

import pytest

from results import notices
from results.review.notices import notices_of
from tests import making


@pytest.fixture
def pull_set(owner):
    """A set of a tester who gave an address."""
    owner.user.email = "owner@example.org"
    owner.user.save()
    session = making.session(making.revision_of(owner))
    return making.joined(session, making.line("thin"), making.line("thick"), [70, 74, 71])


def notify(pull_set, capture):
    with capture(execute=True):
        return notices.notify_owner(pull_set, "It waits for a moderator.")


def test_a_notice_is_mailed_to_the_address_its_tester_gave(
    pull_set, settings, mailoutbox, django_capture_on_commit_callbacks
):
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    notify(pull_set, django_capture_on_commit_callbacks)
    (mail,) = mailoutbox
    assert mail.to == ["owner@example.org"]
    assert mail.from_email == "samespool@example.org"
    assert mail.subject == f"Samespool: set {pull_set.pk} of 2026-01-10"
    assert mail.body == f"{mail.subject}\n\n{notices.OF_A_SET}"


def test_no_mail_goes_out_without_a_sender_or_to_who_gave_no_address(
    pull_set, settings, mailoutbox, django_capture_on_commit_callbacks
):
    notify(pull_set, django_capture_on_commit_callbacks)
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    pull_set.session.contributor.user.email = ""
    notify(pull_set, django_capture_on_commit_callbacks)
    assert mailoutbox == []
    assert notices_of(pull_set.session.contributor).count() == 2


def test_a_mail_server_that_is_gone_costs_no_notice(
    pull_set, settings, django_capture_on_commit_callbacks
):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    notice = notify(pull_set, django_capture_on_commit_callbacks)
    assert list(notices_of(pull_set.session.contributor)) == [notice]
