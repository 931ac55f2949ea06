"""API2 and API6 of 2023: guessing passwords is slow, whichever door and process is tried."""

import base64
import ipaddress
import secrets
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.conftest import client_of

PASSWORD = "cork tape and a long line"


@pytest.fixture
def somewhere() -> str:
    """An address that no other story signs in from."""
    return str(ipaddress.IPv4Address("10.0.0.0") + secrets.randbelow(2**24))


@pytest.fixture
def tester(owner):
    """An account with a password, whose name no other story has tried."""
    owner.user.username = f"sandgrain-{secrets.token_hex(8)}"
    owner.user.set_password(PASSWORD)
    owner.user.save()
    return owner


@pytest.fixture
def ask_for_token(tester, somewhere):
    def asking(password: str):
        both = base64.b64encode(f"{tester.user.username}:{password}".encode()).decode()
        return APIClient().post(
            "/api/v1/tokens", HTTP_AUTHORIZATION=f"Basic {both}", REMOTE_ADDR=somewhere
        )

    return asking


@pytest.fixture
def sign_in(tester, somewhere):
    def signing_in(password: str):
        given = {"login": tester.user.username, "password": password}
        return Client(REMOTE_ADDR=somewhere).post("/sign-in/", given)

    return signing_in


def test_after_five_wrong_passwords_the_right_one_has_to_wait_too(ask_for_token):
    assert [ask_for_token(f"guess {number}").status_code for number in range(5)] == [401] * 5
    answer = ask_for_token(PASSWORD)
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) == 300
    assert not AuthToken.objects.exists()


def test_the_page_and_the_api_count_together(sign_in, ask_for_token):
    for number in range(5):
        sign_in(f"guess {number}")
    assert ask_for_token(PASSWORD).status_code == 429


def test_who_signs_in_rightly_is_never_counted_out(ask_for_token):
    assert [ask_for_token(PASSWORD).status_code for _ in range(8)] == [201] * 8


def test_the_admin_has_no_door_of_its_own(db):
    answer = Client().post("/admin/login/", {"username": "keeper", "password": "guess"})
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


def test_a_token_ends_400_days_after_its_last_use(tester):
    client = client_of(tester)
    token = AuthToken.objects.get()
    assert timedelta(days=399) < token.expiry - timezone.now() <= timedelta(days=400)
    AuthToken.objects.update(expiry=timezone.now() + timedelta(days=10))
    assert client.get("/api/v1/me").status_code == 200
    assert AuthToken.objects.get().expiry - timezone.now() > timedelta(days=399)
    AuthToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert client.get("/api/v1/me").status_code == 401


def test_a_moderator_without_a_second_factor_is_asked_for_it_by_the_api_too(moderator, settings):
    settings.SAMESPOOL_TWO_FACTOR = True
    client = Client()
    client.force_login(moderator.user, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.get("/api/v1/reviews")
    assert answer.status_code == 401
    assert "second one" in answer.json()["detail"]
