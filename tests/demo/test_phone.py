"""Readers' pages of the demo as they are drawn at 390 and 1280 pixels: whole, legible, light."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator

import pytest
import requests
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from deploy.tools.processes import TIMEOUT_S, wait_until
from tests.browser.conftest import SIZES
from tests.measuring import cells_that_overflow, faults_of_charts, intervals_out_of_view

MOST_BYTES = 80_000
LINE_PX = 26
"""The height of a line of words on a phone, and a little."""
BRAID_TO_FLUORO = "/?main=braided+polyethylene&to=fluorocarbon&strength=40+lbf"
ACROSS = "/compare/?main=nylon+monofilament&leader=nylon+monofilament"


@pytest.fixture(scope="module")
def places(tried) -> dict[str, str]:
    """An address of each kind of page for readers, the fullest of its kind."""
    at = f"http://127.0.0.1:{tried.port}"

    def get(path: str) -> list[dict]:
        answer = requests.get(f"{at}/api/v1/{path}", timeout=TIMEOUT_S)
        return answer.json()["results"]

    fullest = max(get("pools?limit=200"), key=lambda pool: pool["current"]["pulls"])
    join = requests.get(f"{at}/pools/{fullest['id']}/", timeout=TIMEOUT_S).text
    (connection,) = set(re.findall(r'href="(/connections/\d+/)"', join))
    a_set = re.search(r'href="(/pull-sets/\d+/)"', join).group(1)
    tester = re.search(r'href="(/contributors/[^"]+)"', join).group(1)
    rig = re.search(r'href="(/rigs/\d+/)"', requests.get(at + a_set, timeout=TIMEOUT_S).text)
    line = re.search(r'href="(/lines/\d+/)"', requests.get(at + a_set, timeout=TIMEOUT_S).text)
    return {
        "list": f"{at}/",
        "list of two lines": at + BRAID_TO_FLUORO,
        "pool": f"{at}/pools/{fullest['id']}/",
        "line pair": at + ACROSS,
        "join": at + connection,
        "line": at + line.group(1),
        "set": at + a_set,
        "tester": at + tester,
        "rig": at + rig.group(1),
    }


@pytest.fixture(scope="module", params=SIZES)
def page(request, browser) -> Iterator[Page]:
    """A reader at this size, who entered a line of 40 pounds when the list was first read."""
    context = browser.new_context(viewport=SIZES[request.param])
    found = context.new_page()
    found.set_default_timeout(1000 * TIMEOUT_S)
    yield found
    context.close()


def test_words_in_charts_are_legible_and_intervals_in_view(places, page):
    charts, wrong = 0, []
    for name, address in places.items():
        page.goto(address)
        number, faults = faults_of_charts(page)
        charts += number
        wrong += [(name, fault) for fault in faults]
        wrong += [(name, fault) for fault in intervals_out_of_view(page)]
        wrong += [(name, fault) for fault in cells_that_overflow(page)]
    assert wrong == []
    assert charts >= 6


def test_no_page_weighs_more_than_eighty_kilobytes_at_first_load(places, browser):
    heavy = {}
    for name, address in places.items():
        context = browser.new_context(viewport=SIZES["phone"])
        page, answers = context.new_page(), []
        page.on("response", lambda answer, kept=answers: kept.append(answer))
        page.goto(address, wait_until="networkidle")
        heavy[name] = sum(len(gzip.compress(answer.body())) for answer in answers if answer.ok)
        context.close()
    assert {name: size for name, size in heavy.items() if size > MOST_BYTES} == {}


def test_the_list_answers_in_the_first_screen_in_at_most_four_lines_a_join(places, page):
    page.goto(places["list of two lines"])
    wait_until(lambda: _is_settled(page), "the pools that a worker computes again")
    first = page.locator(".ranking tbody tr:has(th)").first
    box, height = first.bounding_box(), page.viewport_size["height"]
    assert box["y"] + box["height"] <= height
    assert "FG" in page.locator(".best").first.inner_text()
    assert "39." in first.inner_text()
    if page.viewport_size["width"] < 400:
        for row in page.locator(".ranking tbody tr:has(th)").all():
            assert row.bounding_box()["height"] <= 4 * LINE_PX, row.inner_text()
    page.goto(places["list"])
    assert page.evaluate("document.documentElement.scrollHeight") <= 4_700
    shown = Axe().run(page)
    assert shown.violations_count == 0, shown.generate_report()


def _is_settled(page: Page) -> bool:
    """Whether no row says that its pool is being recomputed, which takes lines of its own."""
    page.reload()
    return "recomputed" not in page.locator(".ranking").inner_text()
