"""Pages that were answered already, drawn by a browser for axe: no request is made again."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from mimetypes import guess_type
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route

from tests.browser.conftest import SIZES
from tests.kept_store.walked import STATIC, Answer, static
from tests.people import chromium

AT = "http://pages.test"
AXE = """(rules) => {
  const asked = {resultTypes: ["violations"], ...(rules.length && {runOnly: rules})};
  return axe.run(asked).then((found) => found.violations.map(
    (each) => `${each.id}: ${each.nodes[0].html.slice(0, 200)}`));
}"""
MADE_ALIKE = re.compile(r"(?<=^admin:)\w+(?=:|$)")
STILL = "* { transition: none !important; animation: none !important; }"
"""Colours on their way from one scheme to the other are no one's."""
BY_SCHEME = ["color-contrast"]
"""What can differ between light and dark at one size."""


def worth_drawing(pages: Iterable[Answer]) -> list[tuple[Answer, bool]]:
    """A page of each address, and others with elements that stand on none of them.

    Tables of the administration are of one make: a list, a row and a form of each kind will do,
    and whatever has elements of its own. Said of each: whether it has elements seen nowhere else.
    """
    makes, kinds, found = set[str](), set[str](), []
    for page in sorted(pages, key=lambda page: (-len(page.kinds), len(page.html))):
        make = MADE_ALIKE.sub("", page.route)
        new = bool(page.kinds - kinds)
        if make not in makes or new:
            found.append((page, new))
            makes.add(make)
            kinds |= page.kinds
    return found


def violations(pages: Sequence[tuple[Answer, bool]]) -> list[str]:
    """What axe finds on them at both sizes, one light and one dark.

    With elements seen nowhere else a page's colours are looked at in the other scheme as well.
    In a thread of its own, since Django takes another connection where Playwright's loop runs.
    """
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(_violations, pages).result()


def _violations(pages: Sequence[tuple[Answer, bool]]) -> list[str]:
    with chromium() as browser:
        return _found_in(browser, pages)


def _found_in(browser: Browser, pages: Sequence[tuple[Answer, bool]]) -> list[str]:
    context = browser.new_context(base_url=AT)
    context.add_init_script(Axe().axe_script)
    drawn, found, answer = context.new_page(), [], list[Answer]()
    drawn.route("**/*", lambda route: _fulfil(route, answer[-1]))
    for each, new in pages:
        answer.append(each)
        drawn.goto(each.address)
        drawn.add_style_tag(content=STILL)
        for size, (whole, other) in {
            "phone": ("light", "dark"),
            "desktop": ("dark", "light"),
        }.items():
            drawn.set_viewport_size(SIZES[size])  # type: ignore[arg-type]
            for scheme, rules in ((whole, []), (other, BY_SCHEME))[: 1 + new]:
                drawn.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
                said = _said(drawn, rules)
                found += [f"{each.address}, {each.person}, {size}, {scheme}: {one}" for one in said]
    context.close()
    return found


def _said(page: Page, rules: list[str]) -> list[str]:
    said: list[str] = page.evaluate(AXE, rules)
    return said


def _fulfil(route: Route, page: Answer) -> None:
    path = urlsplit(route.request.url).path
    if route.request.is_navigation_request():
        route.fulfill(body=page.html, content_type="text/html; charset=utf-8")
    elif path.startswith(STATIC):
        kind = guess_type(path)[0] or "application/octet-stream"
        route.fulfill(body=static(path.removeprefix(STATIC)), content_type=kind)
    else:
        route.fulfill(status=204)
