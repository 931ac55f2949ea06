"""No page offers a form whose sending is then refused: every person, every page, admin included.

Each form is sent as it is shown, and once more with all that it lets one choose. What the form
finds wrong is fine; what is not theirs, not there, or breaks, is not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlencode, urlsplit

import pytest
from allauth.account.models import EmailAddress
from django.contrib import admin
from django.contrib.auth.models import Group, User
from django.db import transaction
from django.test import Client
from django.urls import reverse

from results.accounts.moderators import make_moderator
from results.models import PullSet, ReviewCase
from results.models.lifecycle import State
from results.review.suspend import suspend
from rigs.permissions import MODERATORS
from rigs.refusals import Forbidden
from tests.api.test_routes import world
from tests.people import contributor
from tests.security.test_pages import DRAWN, FORM, address_of, listed
from tests.walking import Form, Seen

pytestmark = pytest.mark.usefixtures("planted_past")

__all__ = ["address_of", "world"]
PASSWORD = "cork tape and a long line"
AT = "http://testserver"
PEOPLE = (
    "anonymous",
    "owner of everything",
    "tester",
    "tester without a confirmed address",
    "suspended",
    "moderator",
    "moderator without a handle",
    "administrator",
    "administrator without a handle",
    "staff without a group",
)


@pytest.fixture(autouse=True)
def unlimited(settings):
    settings.ACCOUNT_RATE_LIMITS = False


@pytest.fixture
def case(world) -> ReviewCase:
    """The owner's set waits at the desk."""
    pull_set = PullSet.objects.get(pk=world["pull-sets"])
    PullSet.objects.update(state=State.HELD)
    return ReviewCase.objects.create(pull_set=pull_set)


@pytest.fixture
def signed_in(request, case, owner, moderator):
    """A client of a person of the list."""
    moderator.user.set_password(PASSWORD)
    moderator.user.save()

    def signing_in(who: str) -> Client:
        client = Client()
        if who != "anonymous":
            user = owner.user if who == "owner of everything" else _person(who, moderator.user)
            user.set_password(PASSWORD)
            user.save()
            answer = {"login": user.username, "password": PASSWORD}
            assert client.post("/sign-in/", answer).status_code == 302
        return client

    return signing_in


def _person(who: str, moderator: User) -> User:
    if "without a handle" in who or who == "staff without a group":
        user = User.objects.create_user("somebody")
    else:
        user = contributor("somebody").user
    if who == "tester without a confirmed address":
        user.email = "somebody@example.org"
        EmailAddress.objects.create(user=user, email=user.email, primary=True)
    if who == "suspended":
        suspend(by=moderator, contributor=user.contributor, reason="Ten copies of one set.")
    if who == "moderator":
        make_moderator(user)
    if who == "moderator without a handle":
        user.groups.add(Group.objects.get(name=MODERATORS))
    user.is_staff = "administrator" in who or who == "staff without a group"
    user.is_superuser = "administrator" in who
    user.save()
    return User.objects.get(pk=user.pk)


def admin_pages() -> Iterator[str]:
    """Every page of the admin: of each table the list, adding, and one row with what it offers."""
    for name in ("admin:index", "admin:password_change", "operational-status", "make-account"):
        yield reverse(name)
    for model in admin.site._registry:
        named = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        yield reverse(f"{named}_changelist")
        yield reverse(f"{named}_add")
        row = model._default_manager.first()
        if row is not None:
            for page in ("change", "delete", "history"):
                yield reverse(f"{named}_{page}", args=[row.pk])


@dataclass(frozen=True)
class Sent:
    """A form that was sent: from where, by whom, to where, and what came of it."""

    page: str
    action: str
    values: str
    outcome: str


class Trying:
    """One person who opens pages and sends what they offer; nothing of it stays."""

    def __init__(self, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        self._cookies = client.cookies.output()
        self._client = client
        self.broken: list[Sent] = []
        self.sent = 0
        self._known: set[tuple[str, ...]] = set()
        self._refused: list[str] = []
        really = Forbidden.__init__

        def noted(refusal: Forbidden, detail: str, *more: object) -> None:
            self._refused.append(detail)
            really(refusal, detail, *more)

        monkeypatch.setattr(Forbidden, "__init__", noted)

    def open(self, address: str) -> None:
        answer = self._asked("GET", address)
        if answer.status_code >= 500:
            self.broken.append(Sent(address, address, "", str(answer.status_code)))
        if answer.status_code == 200 and "html" in answer.headers.get("Content-Type", ""):
            for form in Seen(AT + address, answer.content.decode()).forms:
                if form.method == "post" and form.buttons and self._is_new(form):
                    self._send(address, form)

    def _is_new(self, form: Form) -> bool:
        """Whether a form of this address and these fields was not sent before."""
        key = (form.action, *(each.name for each in form.fields))
        known = key in self._known
        self._known.add(key)
        return not known

    def _send(self, page: str, form: Form) -> None:
        for shown in (form.as_shown(), *_chosen(form)):
            self._refused.clear()
            self.sent += 1
            answer = self._asked(
                "POST",
                urlsplit(form.action)._replace(scheme="", netloc="").geturl(),
                urlencode(shown),
            )
            wrong = answer.status_code in (400, 403, 404, 405) or answer.status_code >= 500
            if wrong or self._refused:
                outcome = f"{answer.status_code} {' '.join(self._refused)}"
                self.broken.append(Sent(page, form.action, urlencode(shown), outcome))

    def _asked(self, method: str, address: str, shown: str = ""):
        client = Client(raise_request_exception=False)
        client.cookies.load(self._cookies.replace("Set-Cookie: ", ""))
        with transaction.atomic():
            answer = client.generic(method, address, shown, FORM)
            transaction.set_rollback(True)
        return answer


def _chosen(form: Form) -> Iterator[list[tuple[str, str]]]:
    """All boxes ticked, the last of every choice, words in every empty field; by each button."""
    answer = []
    for each in form.fields:
        value = each.values[-1] if each.values else ""
        if not value and each.type in ("text", "textarea", "password", "email"):
            value = "somebody@example.org" if each.type == "email" else PASSWORD
        answer.append((each.name, value))
    for button in form.buttons or [None]:
        yield [*answer, *([(button.name, button.values[0])] if button and button.name else [])]


@pytest.mark.parametrize("who", PEOPLE)
def test_whatever_form_somebody_is_shown_they_may_send(who, signed_in, address_of, monkeypatch):
    trying = Trying(signed_in(who), monkeypatch)
    pages = [address_of(route) for route in listed() if not route.endswith(DRAWN)]
    for address in (*pages, *admin_pages()):
        trying.open(address)
    assert trying.broken == []
    assert trying.sent > 3
