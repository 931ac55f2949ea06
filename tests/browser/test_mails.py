"""Every mail that the service can send, read and followed to its end in a browser.

A mail that no story here brings about fails the run, whether it is allauth's or our own.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import allauth
import pytest
from allauth.account import app_settings
from allauth.account.models import EmailAddress
from django.conf import settings as configured
from django.contrib.auth.models import User
from django.db import transaction
from django.template import engines
from django.test.signals import template_rendered
from django.urls import NoReverseMatch, reverse
from playwright.sync_api import Page, expect

from results import notices
from tests import making
from tests.browser.test_bench import as_person
from tests.people import contributor

__all__ = ["as_person"]
PASSWORD, ANOTHER = "cork tape and a long line", "a longer line and no tape"
ADDRESS = "owner@example.org"
PREFIX = re.compile(r"(?:account|mfa)/email/(\w+)_message\.txt")
LINK = re.compile(r"https?://\S+")
ROOT = Path(configured.BASE_DIR)

# Mails that need an address of the service that it does not have; by the name of that address.
NEEDS_ROUTE = {
    "login_code": "account_request_login_code",
    "password_reset_code": "account_confirm_password_reset_code",
    "webauthn_added": "mfa_add_webauthn",
    "webauthn_removed": "mfa_remove_webauthn",
}
# The frame of the others.
NO_MAIL_OF_THEIR_OWN = {"base"}
# Sent on a sign-up with a known address, which is refused where addresses need no confirming.
ONLY_WHERE_CONFIRMING_IS_MANDATORY = {"account_already_exists"}
OUR_SENDERS = {
    "results/management/commands/test_mail.py",
    "results/notices.py",
    "results/worker/mail_news.py",
}
"""An operator's test has no link (`tests/deploy/test_mail.py`); the last one's mails are read and
followed in `tests/stories/test_following.py`."""


@pytest.fixture(params=["desktop"])
def size(request) -> str:
    """A link is followed the same way at every size."""
    return request.param


@pytest.fixture(autouse=True)
def mail(settings):
    settings.SAMESPOOL_MAIL_FROM = settings.DEFAULT_FROM_EMAIL = "samespool@example.org"
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    settings.ACCOUNT_RATE_LIMITS = False


@pytest.fixture
def rendered() -> Iterator[set[str]]:
    """The mails that were written meanwhile, by the names of their templates."""
    found: set[str] = set()

    def seen(template, **_more):
        if written := PREFIX.fullmatch(template.name or ""):
            found.add(written[1])

    template_rendered.connect(seen)
    yield found
    template_rendered.disconnect(seen)


@pytest.fixture
def tester(transactional_db) -> User:
    user = contributor("owner").user
    user.email = ADDRESS
    user.set_password(PASSWORD)
    user.save()
    EmailAddress.objects.create(user=user, email=ADDRESS, primary=True, verified=True)
    return user


def send(page: Page, button: str, address: str = "", **fields: str) -> None:
    if address:
        page.goto(address)
    for name, value in fields.items():
        page.fill(f"main [name={name}]:not([type=radio])", value)
    page.get_by_role("button", name=button, exact=True).click()
    page.wait_for_load_state()


def sign_in(page: Page, name: str, password: str) -> None:
    send(page, "Sign in", "/sign-in/", login=name, password=password)
    expect(page.get_by_role("heading", name="My bench")).to_be_visible()


def follow(page: Page, text: str) -> None:
    """Open the one link of a mail."""
    [link] = LINK.findall(text)
    answer = page.goto(link)
    assert answer.ok, (link, answer.status)


def reset_a_password(page: Page, outbox: list) -> None:
    send(page, "Send the link", "/account/password/forgotten/", email=ADDRESS)
    follow(page, outbox[-1].body)
    send(page, "Change your password", password1=ANOTHER, password2=ANOTHER)
    expect(page.get_by_text("Your new password is set.")).to_be_visible()
    sign_in(page, "owner", ANOTHER)


def confirm_a_new_account(page: Page, outbox: list) -> None:
    page.goto("/sign-up/")
    page.check("[name=agreed]")
    fields = {"handle": "Marram", "username": "marram", "email": "marram@example.org"}
    send(page, "Create the account", **fields, password1=PASSWORD, password2=PASSWORD)
    follow(page, outbox[-1].body)
    send(page, "Yes, confirm it")
    assert EmailAddress.objects.get(email="marram@example.org").verified
    expect(page.get_by_text("marram@example.org is confirmed")).to_be_visible()


def change_the_address(page: Page, outbox: list) -> None:
    sign_in(page, "owner", PASSWORD)
    send(page, "Add it", "/account/mail/", email="new@example.org")
    follow(page, outbox[-1].body)
    send(page, "Yes, confirm it")
    assert EmailAddress.objects.get(email="new@example.org").verified


def ask_for_an_address_that_nobody_has(page: Page, outbox: list) -> None:
    send(page, "Send the link", "/account/password/forgotten/", email="nobody@example.org")
    follow(page, outbox[-1].body)
    expect(page.get_by_role("button", name="Create the account")).to_be_visible()


STORIES: dict[str, Callable[[Page, list], None]] = {
    "password_reset_key": reset_a_password,
    "email_confirmation_signup": confirm_a_new_account,
    "email_confirmation": change_the_address,
    "unknown_account": ask_for_an_address_that_nobody_has,
}


@pytest.mark.parametrize("mail_name", STORIES)
def test_the_link_of_each_mail_leads_to_its_end(mail_name, tester, page, rendered, mailoutbox):
    STORIES[mail_name](page, mailoutbox)
    assert mail_name in rendered
    assert page.complaints == []


def test_while_signing_up_is_closed_the_link_to_it_says_what_to_do_instead(
    tester, page, mailoutbox, settings
):
    settings.SAMESPOOL_SIGN_UP = "closed"
    send(page, "Send the link", "/account/password/forgotten/", email="nobody@example.org")
    follow(page, mailoutbox[-1].body)
    expect(page.get_by_text("Ask them for one.")).to_be_visible()


def test_what_our_own_mails_point_to_is_on_the_bench_of_their_addressee(
    tester, as_person, mailoutbox, page, live_server, settings
):
    settings.SAMESPOOL_ADDRESS = live_server.url
    session = making.session(making.revision_of(tester.contributor))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [70, 74, 71])
    with transaction.atomic():
        notices.notify_owner(pull_set, "It waits for a moderator.")
        notices.notify_account(tester.contributor, "Nothing of it was published.")
    assert len(mailoutbox) == 2
    as_person(tester.contributor)
    for mail in mailoutbox:
        for link in LINK.findall(mail.body):
            answer = page.goto(link)
            assert answer.ok, (link, answer.status)
    assert [len(LINK.findall(mail.body)) for mail in mailoutbox] == [2, 2]
    page.goto("/bench/")
    for answer in ("It waits for a moderator.", "Nothing of it was published."):
        expect(page.get_by_text(answer)).to_be_visible()


def test_every_mail_that_allauth_can_send_here_has_a_story():
    assert set(_templates()) - set(_never_sent()) == set(STORIES)


def test_our_own_mails_are_sent_from_the_places_that_have_a_story():
    files = [
        path
        for part in ("api", "deploy", "results", "rigs")
        for path in ROOT.glob(f"{part}/**/*.py")
    ]
    assert {str(path.relative_to(ROOT)) for path in files if _sends(path)} == OUR_SENDERS


def _templates() -> Iterator[str]:
    """Mails of the parts of allauth that are installed, by name, and their text."""
    apps = [app for app in configured.INSTALLED_APPS if app.startswith("allauth.")]
    folder = Path(allauth.__file__).parent / "templates"
    for app in apps:
        for path in folder.glob(f"{app.removeprefix('allauth.')}/email/*_message.txt"):
            yield path.name.removesuffix("_message.txt")


def _never_sent() -> Iterator[str]:
    yield from NO_MAIL_OF_THEIR_OWN
    if app_settings.EMAIL_VERIFICATION != app_settings.EmailVerificationMethod.MANDATORY:
        yield from ONLY_WHERE_CONFIRMING_IS_MANDATORY
    for name in _templates():
        folder = "mfa" if name.startswith(("totp", "webauthn", "recovery")) else "account"
        if not app_settings.EMAIL_NOTIFICATIONS and _is_notification(f"{folder}/email/{name}"):
            yield name
    for name, route in NEEDS_ROUTE.items():
        try:
            reverse(route)
        except NoReverseMatch:
            yield name


def _is_notification(prefix: str) -> bool:
    """What is sent only where ACCOUNT_EMAIL_NOTIFICATIONS says so."""
    found = engines["django"].get_template(f"{prefix}_message.txt").template.source
    return "base_notification" in found


def _sends(path: Path) -> bool:
    nodes = list(ast.walk(ast.parse(path.read_text())))
    imported = {node.module for node in nodes if isinstance(node, ast.ImportFrom)}
    imported |= {name.name for node in nodes if isinstance(node, ast.Import) for name in node.names}
    return any((module or "").startswith("django.core.mail") for module in imported)
