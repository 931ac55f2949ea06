"""Tokens: got with name and password, sent with every writing, ended when no longer wanted."""

import base64

import pytest
from django.contrib.auth.models import User
from knox.models import AuthToken
from rest_framework.test import APIClient

from rigs.models import Contributor


@pytest.fixture
def tester(db) -> Contributor:
    user = User.objects.create_user("sandgrain", password="six fathoms of mono")
    return Contributor.objects.create(user=user, handle="sandgrain")


def ask_for_token(name: str, password: str):
    both = base64.b64encode(f"{name}:{password}".encode()).decode()
    return APIClient().post("/api/v1/tokens", HTTP_AUTHORIZATION=f"Basic {both}")


def test_name_and_password_give_a_token_that_works_until_it_is_ended(tester):
    answer = ask_for_token("sandgrain", "six fathoms of mono")
    assert answer.status_code == 201
    assert answer["Cache-Control"] == "no-store"
    assert set(answer.json()) == {"token", "expiry"}
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {answer.json()['token']}")
    assert client.get("/api/v1/me").json()["handle"] == "sandgrain"
    assert client.delete("/api/v1/tokens/current").status_code == 204
    assert client.get("/api/v1/me").status_code == 401


def test_a_token_is_not_kept_in_readable_form(tester):
    token = ask_for_token("sandgrain", "six fathoms of mono").json()["token"]
    kept = AuthToken.objects.get()
    assert token not in (kept.digest, kept.token_key)


@pytest.mark.parametrize(
    ("name", "password"),
    [("sandgrain", "wrong"), ("nobody", "wrong"), ("sand\x00grain", "x"), ("sandgrain", "\x00")],
)
def test_a_wrong_name_or_password_gives_none(tester, name, password):
    answer = ask_for_token(name, password)
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == 'Basic realm="samespool"'
    assert not AuthToken.objects.exists()


def test_a_token_alone_does_not_give_another(as_owner):
    assert as_owner.post("/api/v1/tokens").status_code == 401


def test_an_account_that_was_closed_signs_in_no_more(tester):
    token = ask_for_token("sandgrain", "six fathoms of mono").json()["token"]
    User.objects.update(is_active=False)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {token}")
    assert client.get("/api/v1/me").status_code == 401
    assert ask_for_token("sandgrain", "six fathoms of mono").status_code == 401
