"""What is printed of a pool: a few sheets with all that a reader takes to the water."""

import re

import pytest
from playwright.sync_api import expect

from results.jobs import stale_marks
from results.models import Pool
from results.worker.embedded import drain
from tests.api.leagues import league_of
from tests.browser.conftest import faults_of
from tests.pages.conftest import pool_of

A4_AT_96_DPI = {"width": 718, "height": 1046}
"""Within margins of a centimetre and a half."""
MOST_SHEETS = 4
ON_PAPER = ("Before you pull", "The worst case", "The sets behind it", "How to cite it")
ON_SCREEN_ALONE = ("History", "Share it", "Does one tester sway it?", "Pull it yourself")

DEAD_ON_PAPER = (
    "How we know",
    "What counts",
    "All cautions",
    "SVG",
    "PNG",
    "side by side",
    "Show the loads",
    "Previous",
    "Next",
    "as JSON",
    "Report this",
)
"""Words of links and buttons, which lead nowhere from a sheet of paper."""
SHOWN = "() => document.body.innerText"


@pytest.fixture
def size() -> str:
    """Paper has one size."""
    return "desktop"


@pytest.fixture
def paper(page):
    def printed(address: str):
        page.set_viewport_size(A4_AT_96_DPI)
        page.emulate_media(media="print")
        answer = page.goto(address)
        assert answer is not None
        assert answer.ok
        return page

    return printed


def sheets_of(page) -> int:
    """How many sheets of A4 the browser makes of a page."""
    margins = dict.fromkeys(("top", "bottom", "left", "right"), "1.5cm")
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4", margin=margins)))


@pytest.fixture
def long_pool(transactional_db) -> Pool:
    """Twenty testers, and as many versions as it was computed."""
    league_of({"Blood": 86.0, "Surgeon's": 55.0}, testers=20)
    for again in range(3):
        stale_marks.mark([pool_of("Blood").pk], f"looked at again, time {again}")
        drain()
    return pool_of("Blood")


def test_a_pool_is_printed_on_a_few_sheets_with_figure_picture_sets_and_cautions(long_pool, paper):
    page = paper(f"/pools/{long_pool.pk}/")
    expect(page.locator(".verdict strong")).to_be_visible()
    expect(page.locator(".opening")).to_be_visible()
    expect(page.locator(".forest img").first).to_be_visible()
    for heading in ON_PAPER:
        expect(page.get_by_role("heading", name=heading)).to_be_visible()
    for heading in ON_SCREEN_ALONE:
        expect(page.get_by_role("heading", name=heading)).to_have_count(0)
    assert page.locator("#sets-caption").count() == 1
    said = page.evaluate(SHOWN)
    assert said.count("eye protection") == 1, "the cautions stand there once"
    assert [words for words in DEAD_ON_PAPER if words in said] == []
    assert faults_of(page) == []
    assert sheets_of(page) <= MOST_SHEETS
