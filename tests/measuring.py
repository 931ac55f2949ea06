"""What words are like where a page shows them: how large, whether whole, apart and in view."""

from __future__ import annotations

from playwright.sync_api import Page

SMALLEST_PX = 11.0
MEASURE = """
async () => {
  const faults = [];
  document.querySelectorAll("main details").forEach((each) => { each.open = true; });
  const pictures = [...document.querySelectorAll("main img")];
  const holder = document.createElement("div");
  document.body.append(holder);
  for (const picture of pictures) {
    const width = picture.getBoundingClientRect().width;
    const name = new URL(picture.src).pathname;
    holder.innerHTML = await (await fetch(picture.src)).text();
    const svg = holder.querySelector("svg");
    svg.style.width = width + "px";
    svg.style.height = "auto";
    const ground = svg.getBoundingClientRect();
    const scale = ground.width / svg.viewBox.baseVal.width;
    const words = [...svg.querySelectorAll("text")]
      .filter((text) => text.textContent.trim() && getComputedStyle(text).opacity !== "0")
      .map((text) => ({
        said: text.textContent,
        box: text.getBoundingClientRect(),
        size: parseFloat(getComputedStyle(text).fontSize) * scale,
      }));
    for (const { said, box, size } of words) {
      if (size < SMALLEST) faults.push(`${name}: '${said}' is ${size.toFixed(1)} px high`);
      const out = Math.max(
        ground.left - box.left, box.right - ground.right,
        ground.top - box.top, box.bottom - ground.bottom,
      );
      if (out > 1) faults.push(`${name}: '${said}' is cut by ${out.toFixed(0)} px`);
    }
    words.forEach((one, at) => words.slice(at + 1).forEach((other) => {
      const across = Math.min(one.box.right, other.box.right)
        - Math.max(one.box.left, other.box.left);
      const down = Math.min(one.box.bottom, other.box.bottom)
        - Math.max(one.box.top, other.box.top);
      if (across > 1 && down > 3)
        faults.push(`${name}: '${one.said}' lies on '${other.said}'`);
    }));
  }
  holder.remove();
  return [pictures.length, faults];
}
"""


def faults_of_charts(page: Page) -> tuple[int, list[str]]:
    """How many charts the page shows, and what is wrong with their words as they are drawn there.

    Words are measured where the browser draws them, at the width that the page gives the chart.
    Boxes of two lines of words may touch by less than the room above small letters.
    """
    page.wait_for_load_state("networkidle")
    number, faults = page.evaluate(MEASURE.replace("SMALLEST", str(SMALLEST_PX)))
    return number, faults


INTERVALS = r"""
() => [...document.querySelectorAll("main td, main th")]
  .filter((cell) => /\d to [\d.,]+%/.test(cell.textContent) && cell.offsetParent)
  .filter((cell) => {
    const box = cell.getBoundingClientRect();
    return box.left < 0 || box.right > innerWidth + 1;
  })
  .map((cell) => `out of view: ${cell.textContent.trim()}`)
"""
OVERFLOWING = """
() => [...document.querySelectorAll("main td, main tbody th")]
  .filter((cell) => cell.clientWidth && cell.scrollWidth > cell.clientWidth + 1)
  .map((cell) => `wider than its cell: ${cell.textContent.trim()}`)
"""


def intervals_out_of_view(page: Page) -> list[str]:
    """Cells with an interval that one has to scroll sideways for."""
    found: list[str] = page.evaluate(INTERVALS)
    return found


def cells_that_overflow(page: Page) -> list[str]:
    """Cells whose words run into their neighbours."""
    found: list[str] = page.evaluate(OVERFLOWING)
    return found
