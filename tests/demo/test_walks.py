"""Random walks from link to link through the demo league, as five kinds of person.

A hundred go over HTTP, with links and forms parsed as a browser does; some of each kind in a real
browser, at the size of a phone and of a desk. Where one breaks, its seed and every step are told.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from urllib.parse import urlsplit

import pytest
import requests
from playwright.sync_api import Page

from deploy.demo.accounts import ADMINISTRATOR, MODERATOR, PASSWORD
from deploy.demo.trying import EXAMPLE_SENDER
from deploy.tools.processes import TIMEOUT_S
from tests.browser.conftest import SIZES
from tests.walking import Seen, choose, ways_in_document

PEOPLE = ("reader", "tester", "moderator", "administrator", "new account")
NAMES = {"tester": EXAMPLE_SENDER, "moderator": MODERATOR, "administrator": ADMINISTRATOR}
WALKS, STEPS = 20, 12
BROWSER_WALKS, BROWSER_STEPS = 2, 8
# What a document answers instead of itself: sign in, someone else's, by another method, not yet,
# a question is missing. Never that there is nothing, and never that it broke.
DOCUMENTS_REFUSE = (401, 403, 405, 409, 422)


@pytest.fixture(scope="module")
def enter(tried) -> Callable[[str], tuple[requests.Session, str]]:
    """A person at the door: their session, and the page that they land on."""
    at = f"http://127.0.0.1:{tried.port}"
    joined = False

    def entering(who: str) -> tuple[requests.Session, str]:
        nonlocal joined
        session = requests.Session()
        session.trust_env = False
        if who == "reader":
            return session, f"{at}/"
        name = NAMES.get(who, "newcomer")
        shown = {"login": name, "password": PASSWORD}
        address = f"{at}/sign-in/"
        if who == "new account" and not joined:
            joined, address = True, f"{at}/sign-up/"
            shown = {"handle": name, "username": name, "agreed": "on"}
            shown |= {"password1": PASSWORD, "password2": PASSWORD}
        session.get(address, timeout=TIMEOUT_S)
        shown["csrfmiddlewaretoken"] = session.cookies["csrftoken"]
        answer = session.post(address, data=shown, timeout=TIMEOUT_S)
        assert answer.ok, (who, answer.url, answer.status_code)
        assert urlsplit(answer.url).path != urlsplit(address).path, answer.text
        return session, answer.url

    return entering


def ways_from(answer: requests.Response, rng: random.Random) -> list[str]:
    """Where one can go from what was answered. Raises AssertionError where that is wrong."""
    kind = answer.headers.get("Content-Type", "")
    path = urlsplit(answer.url).path
    if "json" in kind and path.startswith("/api/"):
        assert answer.ok or answer.status_code in DOCUMENTS_REFUSE, answer.status_code
        return ways_in_document(answer.url, answer.json()) if answer.ok else []
    assert answer.ok, answer.status_code
    if "html" not in kind:
        return []
    seen = Seen(answer.url, answer.text)
    asked = [
        f"{form.action.partition('?')[0]}?{form.at_random(rng)}"
        for form in seen.forms
        if form.method == "get"
    ]
    ways = seen.ways_on() + asked
    assert ways, "a dead end"
    for link in seen.links:
        page, _, part = link.partition("#")
        if part and page == answer.url.partition("#")[0]:
            assert part in seen.ids, f"no place {part} on the page"
    return ways


@pytest.mark.parametrize("who", PEOPLE)
def test_a_hundred_walks_meet_no_missing_page_no_failure_and_no_dead_end(who, enter):
    broken = {}
    session, landed = enter(who)
    for seed in range(WALKS):
        rng = random.Random(f"{who} {seed}")
        trail, ways, before = [], [landed], [landed]
        for _ in range(STEPS):
            trail.append(choose(rng, ways))
            try:
                answer = session.get(trail[-1], timeout=TIMEOUT_S)
                ways = ways_from(answer, rng)
            except AssertionError as wrong:
                broken[seed] = (str(wrong), trail)
                break
            if ways:
                before = ways
            else:  # a file or a refusal: one goes back
                ways = before
    assert broken == {}


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("who", PEOPLE)
def test_walks_in_a_browser_meet_no_complaint_either(who, size, enter, browser, tried):
    session, landed = enter(who)
    context = browser.new_context(viewport=SIZES[size], has_touch=size == "phone")
    context.add_cookies(
        [
            {"name": each.name, "value": each.value, "domain": "127.0.0.1", "path": "/"}
            for each in session.cookies
        ]
    )
    broken = {}
    for seed in range(BROWSER_WALKS):
        page = context.new_page()
        trail = list(_walk(page, landed, random.Random(f"{who} {size} {seed}")))
        if trail[-1].startswith("broken"):
            broken[seed] = trail
        page.close()
    context.close()
    assert broken == {}


def _walk(page: Page, landed: str, rng: random.Random) -> Iterator[str]:
    """The addresses of a walk; the last one begins with 'broken' where it ended early."""
    complaints: list[str] = []
    page.on("console", lambda message: message.type == "error" and complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    ways = [landed]
    for _ in range(BROWSER_STEPS):
        address = choose(rng, ways)
        yield address
        answer = page.goto(address, wait_until="load")
        if answer is None or not answer.ok or complaints:
            yield f"broken: {answer and answer.status} {complaints}"
            return
        too_wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if too_wide > 0 and "/admin/" not in page.url:  # Django's own pages scroll sideways
            yield f"broken: {too_wide} px too wide"
            return
        links = Seen(page.url, page.content()).ways_on()
        pages = [link for link in links if _is_page(link)]
        if not pages:
            yield "broken: a dead end"
            return
        ways = pages


def _is_page(link: str) -> bool:
    """What a browser shows as a page of its own, and does not save or draw."""
    path = urlsplit(link).path
    is_document = path.startswith("/api/") and not path.endswith("/docs")
    is_file = "." in path.rpartition("/")[2] or path.endswith("/download/")
    return not is_document and not is_file
