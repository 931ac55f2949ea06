"""API2 and API6 of 2023: guessing passwords is slow, whichever door and process is tried."""

import base64
import ipaddress
import secrets
import time
from datetime import timedelta

import pytest
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from django.contrib.auth.models import Group
from django.test import Client
from django.utils import timezone
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.people import client_of

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


def test_api2_after_five_wrong_passwords_the_right_one_has_to_wait_too(ask_for_token):
    assert [ask_for_token(f"guess {number}").status_code for number in range(5)] == [401] * 5
    answer = ask_for_token(PASSWORD)
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) == 300
    assert not AuthToken.objects.exists()


def test_the_page_and_the_api_count_together(sign_in, ask_for_token):
    for number in range(5):
        sign_in(f"guess {number}")
    assert ask_for_token(PASSWORD).status_code == 429


def test_who_varies_the_name_and_port_of_the_service_is_counted_all_the_same(
    tester, somewhere, ask_for_token
):
    given = {"login": tester.user.username, "password": "guess"}
    hosts = ["testserver", "localhost", "127.0.0.1:8000", "127.0.0.1:8001", "testserver:1"]
    for host in hosts:
        answer = Client(REMOTE_ADDR=somewhere, HTTP_HOST=host).post("/sign-in/", given)
        assert answer.status_code == 200, host
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


@pytest.fixture
def two_factors(settings):
    settings.SAMESPOOL_TWO_FACTOR = True


def test_a_moderator_without_a_second_factor_is_asked_for_it_by_the_api_too(moderator, two_factors):
    client = Client()
    client.force_login(moderator.user, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.get("/api/v1/reviews")
    assert answer.status_code == 401
    assert "second one" in answer.json()["detail"]


def test_a_session_from_before_the_second_factor_decides_nothing_and_makes_no_token(
    moderator, two_factors
):
    client = Client()
    client.force_login(moderator.user, backend="django.contrib.auth.backends.ModelBackend")
    secret = generate_totp_secret()
    TOTP.activate(moderator.user, secret)
    assert client.get("/api/v1/reviews").status_code == 401
    again = client.post("/account/tokens/")["Location"]
    assert not AuthToken.objects.exists()
    code = format_hotp_value(hotp_value(secret, int(time.time()) // 30))
    assert client.post(again, {"code": code})["Location"] == "/account/"
    assert client.get("/api/v1/reviews").status_code == 200
    assert client.post("/account/tokens/").status_code == 200


def test_api2_a_token_from_before_its_owner_became_a_moderator_has_to_be_made_again(
    owner, two_factors
):
    early = client_of(owner)
    assert early.get("/api/v1/me").status_code == 200
    owner.user.groups.add(Group.objects.get_or_create(name="moderators")[0])
    assert early.get("/api/v1/reviews").status_code == 401
    TOTP.activate(owner.user, generate_totp_secret())
    refused = early.get("/api/v1/reviews")
    assert refused.status_code == 401
    assert "make a new one" in refused.json()["detail"]
    assert client_of(owner).get("/api/v1/reviews").status_code == 200


def test_while_the_counts_are_away_people_still_sign_in(tester, sign_in, ask_for_token, settings):
    nowhere = {"BACKEND": "deploy.counting.Counts", "LOCATION": "redis://127.0.0.1:1/0"}
    settings.CACHES = {**settings.CACHES, "default": nowhere}
    assert sign_in(PASSWORD).headers["Location"] == "/bench/"
    assert ask_for_token("guess").status_code == 401
    assert ask_for_token(PASSWORD).status_code == 201
