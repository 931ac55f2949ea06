"""Who confirms an address to be mailed is led back to what they wanted to follow."""

import pytest
from allauth.account.models import EmailAddress, EmailConfirmationHMAC
from django.test import Client

from results.accounts.following import follow
from results.models import Follow

EVERYTHING = "/follow/everything/0/"


@pytest.fixture(autouse=True)
def mail(settings):
    settings.SAMESPOOL_MAIL_FROM = settings.DEFAULT_FROM_EMAIL = "samespool@example.org"
    settings.SAMESPOOL_ADDRESS = "https://pulls.example"


@pytest.fixture
def unconfirmed(owner) -> EmailAddress:
    owner.user.email = "owner@example.org"
    owner.user.save()
    return EmailAddress.objects.create(user=owner.user, email=owner.user.email, primary=True)


def at_home(address: EmailAddress) -> Client:
    client = Client()
    client.force_login(address.user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def confirm(client: Client, address: EmailAddress) -> str:
    """Where the link of the mail ends, opened in this browser."""
    page = f"/account/mail/confirm/{EmailConfirmationHMAC(address).key}/"
    assert client.get(page).status_code == 200
    answer = client.post(page)
    address.refresh_from_db()
    assert address.verified
    return answer.headers["Location"]


def test_one_comes_back_to_the_page_from_which_one_went(unconfirmed):
    client = at_home(unconfirmed)
    assert "Its link leads back here." in client.get(EVERYTHING).content.decode()
    assert confirm(client, unconfirmed) == EVERYTHING
    assert "Its link leads back here." not in client.get(EVERYTHING).content.decode()


def test_in_another_browser_to_what_one_follows_already(unconfirmed, owner):
    follow(owner, Follow.Subject.EVERYTHING, 0)
    at_home(unconfirmed).get(EVERYTHING)
    assert confirm(at_home(unconfirmed), unconfirmed) == "/following/"


def test_and_who_follows_nothing_to_the_bench(unconfirmed):
    assert confirm(at_home(unconfirmed), unconfirmed) == "/bench/"


def test_a_stranger_who_looks_at_what_can_be_followed_gets_no_cookie(db, settings):
    assert settings.SESSION_COOKIE_NAME not in Client().get(EVERYTHING).cookies
