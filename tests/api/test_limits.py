"""How many requests one account or address may send, and how that is told."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.cache import cache
from django.test import Client

from rigs.allowances import WINDOW_S, count
from tests.people import client_of


@pytest.fixture
def three_a_minute(settings):
    """Three requests a minute, in a minute that does not end under the story."""
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 3
    left = WINDOW_S - time.time() % WINDOW_S
    if left < 10:
        time.sleep(left)


def test_each_answer_tells_what_is_left(three_a_minute, as_owner):
    answers = [as_owner.get("/api/v1/lines") for _ in range(3)]

    assert {answer["RateLimit-Policy"] for answer in answers} == {'"account";q=3;w=60'}
    assert [answer["RateLimit"].split(";t=")[0] for answer in answers] == [
        '"account";r=2',
        '"account";r=1',
        '"account";r=0',
    ]


def test_one_request_too_many_is_a_problem_that_says_when_to_come_back(three_a_minute, as_owner):
    for _ in range(3):
        as_owner.get("/api/v1/lines")

    refused = as_owner.get("/api/v1/lines")

    assert refused.status_code == 429
    assert refused["Content-Type"] == "application/problem+json"
    assert 1 <= int(refused["Retry-After"]) <= 60
    assert refused["RateLimit"].startswith('"account";r=0;t=')


def test_another_account_has_its_own_allowance_and_another_token_has_not(
    three_a_minute, as_owner, owner, as_other
):
    for _ in range(2):
        as_owner.get("/api/v1/lines")

    assert client_of(owner).get("/api/v1/lines")["RateLimit"].startswith('"account";r=0;')
    assert client_of(owner).get("/api/v1/lines").status_code == 429
    assert as_owner.get("/api/v1/lines").status_code == 429
    assert as_other.get("/api/v1/lines").status_code == 200


def test_pages_and_the_api_share_the_allowance_of_an_account(three_a_minute, owner, as_owner):
    browser = Client()
    browser.force_login(owner.user)
    assert [browser.get("/about/").status_code for _ in range(2)] == [200, 200]

    assert as_owner.get("/api/v1/lines").status_code == 200
    refused = browser.post("/upload/", {})

    assert refused.status_code == 429
    assert b"Too many requests" in refused.content
    assert 1 <= int(refused["Retry-After"]) <= 60


def read(address: str, **headers: str) -> int:
    return Client(REMOTE_ADDR=address, **headers).get("/api/v1/lines").status_code


def test_readers_without_an_account_are_counted_by_address(three_a_minute, db):
    answers = [read("192.0.2.1") for _ in range(4)]

    assert answers == [200, 200, 200, 429]
    assert Client(REMOTE_ADDR="192.0.2.1").get("/").status_code == 429
    assert read("192.0.2.2") == 200


def test_addresses_of_one_network_of_a_subscriber_are_one(three_a_minute, db):
    answers = [read(f"2001:db8:0:1::{number}") for number in range(4)]

    assert answers == [200, 200, 200, 429]
    assert read("2001:db8:0:2::1") == 200
    assert [read("::ffff:192.0.2.9"), read("192.0.2.9")] == [200, 200]


def test_without_a_proxy_no_one_chooses_an_address(three_a_minute, db):
    answers = [
        read("192.0.2.1", HTTP_X_FORWARDED_FOR=f"198.51.100.{number}") for number in range(4)
    ]

    assert answers == [200, 200, 200, 429]


def test_behind_a_proxy_the_address_is_the_one_that_it_saw(three_a_minute, settings, db):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1

    def through(client: str, forged: str) -> int:
        return read("10.0.0.1", HTTP_X_FORWARDED_FOR=f"{forged}, {client}")

    forged = [through("192.0.2.1", f"198.51.100.{number}") for number in range(4)]
    assert forged == [200, 200, 200, 429]
    assert through("192.0.2.2", "192.0.2.1") == 200


def test_words_in_place_of_an_address_are_counted_together_and_never_break(
    three_a_minute, settings, db
):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    answers = [read("10.0.0.1", HTTP_X_FORWARDED_FOR="x" * number) for number in range(1, 5)]

    assert answers == [200, 200, 200, 429]


def test_machines_that_watch_are_not_counted(three_a_minute, db):
    assert {Client().get("/healthz").status_code for _ in range(6)} == {200}


def test_requests_at_one_instant_are_each_counted():
    cache.delete("requests:at-once")
    with ThreadPoolExecutor(8) as pool:
        counts = list(pool.map(lambda _: count("at-once"), range(60)))

    assert sorted(counts) == list(range(1, 61))
