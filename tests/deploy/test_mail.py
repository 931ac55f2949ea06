"""Mail goes out by TLS, with user and password, and what is refused goes out later."""

import os
import ssl
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from django.utils import timezone

from deploy.tools.processes import free_port
from results import notices
from results.models import Notice, UnsentMail
from results.review.notices import notices_of
from tests import making
from tests.deploy.files import ROOT
from tests.stories.test_following import Server, server

__all__ = ["server"]
USER, PASSWORD = "samespool", "of the mail server"


@pytest.fixture
def certificate(tmp_path) -> tuple[Path, Path]:
    """Of a mail server called localhost, signed by itself."""
    key, made = tmp_path / "key.pem", tmp_path / "certificate.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    command += ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    subprocess.run([*command, "-keyout", key, "-out", made], check=True, capture_output=True)
    return made, key


@pytest.fixture(params=["starttls", "tls"])
def guarded(request, certificate) -> Iterator[SimpleNamespace]:
    """A mail server that takes mail by TLS from who knows the password."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*map(str, certificate))
    found, port = Server(), free_port()

    def knows(_server, _session, _envelope, _mechanism, given) -> AuthResult:
        right = (given.login, given.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=right, handled=right)

    tls = {"starttls": {"tls_context": context, "require_starttls": True}, "tls": {}}
    controller = Controller(
        found,
        hostname="localhost",
        port=port,
        authenticator=knows,
        auth_required=True,
        auth_require_tls=request.param == "starttls",
        ssl_context=context if request.param == "tls" else None,
        **tls[request.param],
    )
    controller.start()
    environment = {
        "SAMESPOOL_MAIL_FROM": "samespool@example.org",
        "SAMESPOOL_MAIL_HOST": "localhost",
        "SAMESPOOL_MAIL_PORT": str(port),
        "SAMESPOOL_MAIL_TLS": request.param,
        "SAMESPOOL_MAIL_USER": USER,
        "SAMESPOOL_MAIL_PASSWORD": PASSWORD,
        "SSL_CERT_FILE": str(certificate[0]),
    }
    yield SimpleNamespace(found=found, environment=environment)
    controller.stop()


def ask(environment: dict[str, str]) -> subprocess.CompletedProcess:
    command = [sys.executable, "manage.py", "test_mail", "keeper@example.org"]
    return subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, check=False, capture_output=True,
        text=True,
    )  # fmt: skip


def test_the_test_mail_goes_out_by_tls_with_user_and_password_or_says_why_not(guarded):
    sent = ask(guarded.environment)
    assert sent.returncode == 0, sent.stderr
    assert "took a mail to keeper@example.org" in sent.stdout
    [mail] = guarded.found.taken
    assert (mail.mail_from, mail.rcpt_tos) == ("samespool@example.org", ["keeper@example.org"])
    for wrong, why in {
        "SAMESPOOL_MAIL_PASSWORD": "535",
        "SSL_CERT_FILE": "certificate verify failed",
        "SAMESPOOL_MAIL_FROM": "SAMESPOOL_MAIL_FROM is not set",
    }.items():
        value = "" if wrong == "SAMESPOOL_MAIL_FROM" else "/dev/null"
        refused = ask({**guarded.environment, wrong: value})
        assert (refused.returncode, why in refused.stderr) == (1, True), refused.stderr
    assert len(guarded.found.taken) == 1


@pytest.fixture
def pull_set(owner):
    owner.user.email = "owner@example.org"
    owner.user.save()
    session = making.session(making.revision_of(owner))
    return making.joined(session, making.line("thin"), making.line("thick"), [70, 74, 71])


def time_passes() -> None:
    UnsentMail.objects.update(again_at=timezone.now() - timedelta(seconds=1))


@pytest.mark.parametrize("answer", ["451 try again later", "554 no thanks", "421 closing"])
def test_a_refused_notice_is_mailed_later_and_once(
    pull_set, server, answer, django_capture_on_commit_callbacks
):
    server.answer = answer
    with django_capture_on_commit_callbacks(execute=True):
        notice = notices.notify_owner(pull_set, "It waits for a moderator.")
    assert list(notices_of(pull_set.session.contributor)) == [notice]
    notices.mail_unsent()  # too early
    assert UnsentMail.objects.get().refused == 1
    time_passes()
    notices.mail_unsent()
    assert UnsentMail.objects.get().refused == 2
    assert UnsentMail.objects.get().again_at > timezone.now() + timedelta(minutes=9)
    server.answer = "250 OK"
    time_passes()
    notices.mail_unsent()
    notices.mail_unsent()
    [text] = server.texts()
    assert f"set {pull_set.pk} of 2026-01-10\r\n\r\n{notices.OF_A_SET}" in text
    assert not UnsentMail.objects.exists()


def test_a_notice_whose_answer_was_lost_is_not_mailed_twice(
    pull_set, server, django_capture_on_commit_callbacks
):
    server.hangs_up = True
    with django_capture_on_commit_callbacks(execute=True):
        notices.notify_owner(pull_set, "It waits for a moderator.")
    assert len(server.taken) == 1
    assert not UnsentMail.objects.exists()


def test_a_mail_is_given_up_after_a_good_week_and_with_the_address(
    pull_set, server, settings, django_capture_on_commit_callbacks
):
    settings.EMAIL_PORT = free_port()  # nobody answers there
    with django_capture_on_commit_callbacks(execute=True):
        notices.notify_owner(pull_set, "It waits for a moderator.")
    waited_s = 0.0
    for attempt in range(1, notices.MOST_ATTEMPTS):
        waited_s += notices.wait_after(attempt - 1)
        assert UnsentMail.objects.get().refused == attempt
        time_passes()
        notices.mail_unsent()
    assert not UnsentMail.objects.exists()
    assert 7 > waited_s / 86400 > 5
    assert Notice.objects.count() == 1
    with django_capture_on_commit_callbacks(execute=True):
        notices.notify_owner(pull_set, "It waits for a moderator.")
    pull_set.session.contributor.user.email = ""
    pull_set.session.contributor.user.save()
    time_passes()
    notices.mail_unsent()
    assert not UnsentMail.objects.exists()
