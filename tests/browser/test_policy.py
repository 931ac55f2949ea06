"""No page asks for what the content policy refuses; Chromium complains of it in the console."""

import re

import pytest
from django.test import Client

from tests.api.leagues import league_of
from tests.pages.conftest import pool_of

PAGES = (
    "/api/v1/docs",
    "/admin/",
    "/admin/auth/user/",
    "/admin/auth/user/add/",
    "/admin/rigs/line/",
    "/admin/rigs/line/add/",
    "/admin/results/poolversion/",
    "/admin/results/checkresult/",
    "/upload/",
    "/bench/",
    "/account/",
)


@pytest.fixture
def keeper(page, live_server, owner, transactional_db):
    """An administrator who is signed in."""
    owner.user.is_staff = owner.user.is_superuser = True
    owner.user.save()
    client = Client()
    client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")
    cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value}
    page.context.add_cookies([{**cookie, "url": live_server.url}])
    return owner


def refused(page) -> list[str]:
    return [answer for answer in page.complaints if "Content Security Policy" in answer]


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_nothing_of_a_page_is_refused(transactional_db, keeper, page):
    league_of({"Blood": 86.0}, testers=2)
    for address in PAGES:
        answer = page.goto(address, wait_until="networkidle")
        assert answer.status == 200, address
        policy = answer.headers["content-security-policy"]
        assert not re.search("unsafe-|[*]|https?:", policy)
        assert refused(page) == [], address


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_picture_opened_by_itself_is_laid_out_as_the_browser_likes(transactional_db, page):
    league_of({"Blood": 86.0}, testers=3)
    page.goto(f"/pools/{pool_of('Blood').pk}/")
    pictures = {each.get_attribute("href") for each in page.get_by_role("link", name="PNG").all()}
    assert pictures
    for address in pictures:
        answer = page.goto(address)
        assert answer.headers["content-type"] == "image/png"
        assert "script-src" not in answer.headers["content-security-policy"]
        assert page.complaints == [], address


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_a_script_in_the_page_does_not_run(transactional_db, page):
    page.goto("/")
    page.evaluate(
        "document.body.insertAdjacentHTML('beforeend', "
        "'<img src=x onerror=\"document.title = \\'taken\\'\">')"
    )
    page.wait_for_timeout(300)
    assert page.title() != "taken"
    assert len(refused(page)) == 1


@pytest.mark.parametrize("size", ["desktop"], indirect=True)
def test_the_picture_that_sets_up_a_second_factor_is_shown(transactional_db, owner, page):
    owner.user.set_password("cork tape and a long line")
    owner.user.save()
    for address in ("/sign-in/", "/account/second-factor/set-up/"):
        page.goto(address)
        if page.locator("input[name=login]").count():
            page.fill("input[name=login]", "owner")
        if page.locator("input[name=password]").count():
            page.fill("input[name=password]", "cork tape and a long line")
            page.press("input[name=password]", "Enter")
            page.wait_for_load_state("networkidle")
    assert page.url.endswith("/account/second-factor/set-up/")
    picture = page.locator("main img")
    assert picture.get_attribute("src").startswith("data:image/svg+xml;base64,")
    assert picture.evaluate("each => each.complete && each.naturalWidth") > 50
    assert refused(page) == []
