"""What is printed fits the paper: nothing lies over another or runs off the sheet."""

import re

import pytest

from tests import making
from tests.browser.test_bench import as_person

__all__ = ["as_person"]

PAPERS_PX = {"A4": 703, "Letter": 725}
"""Width between margins of 1 cm at 96 dots an inch (ISO 216; common practice, no source)."""
TOO_WIDE = """() => [...document.querySelectorAll(".sheet table")]
  .filter((each) => each.getBoundingClientRect().width
    > each.parentElement.getBoundingClientRect().width + 1
    || each.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((each) => each.caption.textContent)"""
OVER_ANOTHER = """() => {
  const tables = [...document.querySelectorAll(".sheet table")];
  const boxes = tables.map((each) => each.getBoundingClientRect());
  return boxes.flatMap((one, at) => boxes.slice(at + 1).filter((other) =>
    one.left < other.right - 1 && other.left < one.right - 1
    && one.top < other.bottom - 1 && other.top < one.bottom - 1)).length;
}"""


@pytest.mark.parametrize("paper", PAPERS_PX)
@pytest.mark.parametrize("filled", ["", "?rig={rig}"], ids=["blank", "of a rig"])
def test_the_bench_sheet_fits_one_sheet_of_paper(as_person, owner, paper, filled):
    revision = making.revision_of(owner)
    page = as_person(owner)
    page.goto("/bench-sheet/" + filled.format(rig=revision.rig_id))
    printed = page.pdf(
        format=paper, margin=dict.fromkeys(("top", "bottom", "left", "right"), "1cm")
    )
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPERS_PX[paper], "height": 1000})
    assert page.evaluate(TOO_WIDE) == []
    assert page.evaluate(OVER_ANOTHER) == 0
