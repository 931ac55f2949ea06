"""What is counted and remembered holds for every web process, not for each one by itself."""

import time
from itertools import cycle

import pytest
import requests
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from knox.models import AuthToken

from deploy.tools.processes import TIMEOUT_S
from tests.people import contributor
from tests.security.processes import Browser, serving

pytestmark = pytest.mark.worker
PASSWORD = "cork tape and a long line"
CODE_S = 30


@pytest.fixture
def tester(queue):
    person = contributor("sandgrain")
    person.user.set_password(PASSWORD)
    person.user.save()
    return person


@pytest.fixture
def two(tester, tmp_path):
    """Two web processes that know of each other only by PostgreSQL and Redis."""
    few = {"SAMESPOOL_REQUESTS_A_MINUTE": "30"}
    with serving(tmp_path, **few) as one, serving(tmp_path, **few) as other:
        yield one, other


def wait_for(window_s: int, least_s: int) -> None:
    """Until a window begins, where too little is left of the one that is on."""
    left = window_s - time.time() % window_s
    if left < least_s:
        time.sleep(left)


def test_requests_of_one_account_are_counted_over_both(two, tester):
    _, token = AuthToken.objects.create(tester.user)
    header = {"Authorization": f"Token {token}"}
    wait_for(60, least_s=20)
    answers = [
        requests.get(f"{address}/api/v1/lines", headers=header, timeout=TIMEOUT_S)
        for address, _ in zip(cycle(two), range(32), strict=False)
    ]
    assert [answer.status_code for answer in answers] == [200] * 30 + [429] * 2
    left = [int(answer.headers["RateLimit"].split(";")[1][2:]) for answer in answers]
    assert left == [*range(29, -1, -1), 0, 0]


def test_wrong_passwords_are_counted_over_both_and_both_doors(two):
    def ask_for_token(address: str, password: str) -> int:
        both = ("sandgrain", password)
        return requests.post(f"{address}/api/v1/tokens", auth=both, timeout=TIMEOUT_S).status_code

    one, other = two
    assert [ask_for_token(address, "guess") for address in (one, other, one)] == [401] * 3
    for address in two:
        page = Browser(address).post("/sign-in/", login="sandgrain", password="guess")
        assert "not correct" in page.text
    assert [ask_for_token(address, PASSWORD) for address in two] == [429, 429]
    for address in two:
        page = Browser(address).post("/sign-in/", login="sandgrain", password=PASSWORD)
        assert "Too many" in page.text


def test_a_used_code_of_the_second_factor_is_used_for_the_other_process_too(two, tester):
    secret = generate_totp_secret()
    TOTP.activate(tester.user, secret)
    browsers = [Browser(address) for address in two]
    for browser in browsers:
        browser.post("/sign-in/", login="sandgrain", password=PASSWORD)
    wait_for(CODE_S, least_s=15)
    code = format_hotp_value(hotp_value(secret, int(time.time()) // CODE_S))
    door = "/sign-in/second-factor/"
    first, again = (browser.post(door, code=code) for browser in browsers)
    assert first.headers["Location"] == "/bench/"
    assert again.status_code == 200
    assert [browser.get("/bench/").status_code for browser in browsers] == [200, 302]
