"""How many requests one token may send, and how that is told."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.cache import cache

from api.limits import WINDOW_S, _count
from tests.conftest import client_of


@pytest.fixture
def three_a_minute(settings):
    """Three requests a minute, in a minute that does not end under the story."""
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 3
    left = WINDOW_S - time.time() % WINDOW_S
    if left < 10:
        time.sleep(left)


def test_each_answer_tells_what_is_left(three_a_minute, as_owner):
    answers = [as_owner.get("/api/v1/lines") for _ in range(3)]

    assert {answer["RateLimit-Policy"] for answer in answers} == {'"token";q=3;w=60'}
    assert [answer["RateLimit"].split(";t=")[0] for answer in answers] == [
        '"token";r=2',
        '"token";r=1',
        '"token";r=0',
    ]


def test_one_request_too_many_is_a_problem_that_says_when_to_come_back(three_a_minute, as_owner):
    for _ in range(3):
        as_owner.get("/api/v1/lines")

    refused = as_owner.get("/api/v1/lines")

    assert refused.status_code == 429
    assert refused["Content-Type"] == "application/problem+json"
    assert 1 <= int(refused["Retry-After"]) <= 60
    assert refused["RateLimit"].startswith('"token";r=0;t=')


def test_another_token_has_its_own_allowance(three_a_minute, as_owner, owner, as_other):
    for _ in range(4):
        as_owner.get("/api/v1/lines")

    assert as_other.get("/api/v1/lines").status_code == 200
    assert client_of(owner).get("/api/v1/lines").status_code == 200


def test_readers_without_a_token_are_not_counted(three_a_minute, as_stranger):
    answers = [as_stranger.get("/api/v1/lines") for _ in range(5)]

    assert {answer.status_code for answer in answers} == {200}
    assert "RateLimit" not in answers[-1]


def test_requests_at_one_instant_are_each_counted():
    cache.delete("at-once")
    with ThreadPoolExecutor(8) as pool:
        counts = list(pool.map(lambda _: _count("at-once"), range(60)))

    assert sorted(counts) == list(range(1, 61))
