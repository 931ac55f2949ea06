"""A real browser on a real server: Debian's Chromium, at the size of a phone and of a desk.

Whatever is looked at is checked by axe for what hampers a keyboard or a screen reader, has nothing
cut off or over one another (`layout_faults.js`), does not complain in the console, and is kept as a
picture under ``var/screenshots``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import Page, expect

SIZES = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1280, "height": 900}}
SCREENSHOTS = Path(settings.BASE_DIR) / "var" / "screenshots"

LAYOUT_FAULTS = (Path(__file__).parent / "layout_faults.js").read_text(encoding="utf-8")

# A change of colours takes its time, and is no one's contrast until it has ended.
SETTLE = """() => Promise.allSettled(document.getAnimations()
  .filter((each) => each.effect.getComputedTiming().endTime < Infinity)
  .map((each) => each.finished)).then(() => null)"""

# The browser's own note, some time after the answer, on a form that was answered by its errors.
REFUSED = "the server responded with a status of 422"

WAITS_S = 120
"""A page of a loaded machine comes within it; what never comes costs a run no more."""

expect.set_options(timeout=1000 * WAITS_S)
Look = Callable[[str], Page]


@pytest.fixture(params=SIZES)
def size(request) -> str:
    """The stories are lived on a phone and at a desk."""
    return request.param


@pytest.fixture
def page(browser, live_server, size) -> Iterator[Page]:
    """An empty page of the live server; ``page.goto("/")`` is its first page."""
    context = browser.new_context(
        base_url=live_server.url, viewport=SIZES[size], has_touch=size == "phone"
    )
    found = context.new_page()
    found.set_default_timeout(1000 * WAITS_S)
    found.complaints = []
    found.on(
        "console",
        lambda message: (
            message.type == "error"
            and REFUSED not in message.text
            and found.complaints.append(message.text)
        ),
    )
    found.on("pageerror", lambda error: found.complaints.append(str(error)))
    yield found
    context.close()


@pytest.fixture
def look(page, size) -> Look:
    """Go to an address, or stay where one is, and check what can be seen there."""

    def look_at(address: str = "", name: str = "") -> Page:
        if address:
            answer = page.goto(address)
            assert answer is not None
            assert answer.ok, f"{address}: {answer.status}"
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.evaluate(SETTLE)
            _keep(page, f"{name or page.url.split('/', 3)[3]}-{size}-{scheme}")
            shown = Axe().run(page)
            assert shown.violations_count == 0, f"{page.url}, {scheme}: {shown.generate_report()}"
        assert faults_of(page) == [], page.url
        assert page.complaints == [], page.url
        return page

    return look_at


def faults_of(page: Page) -> list[str]:
    """What can't be read where it stands, with all that is folded open."""
    found: list[str] = page.evaluate(LAYOUT_FAULTS)
    return found


def _keep(page: Page, name: str) -> None:
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    written = re.sub(r"[^\w-]+", "-", name).strip("-")[:90]
    page.screenshot(path=SCREENSHOTS / f"{written}.png", full_page=True)
