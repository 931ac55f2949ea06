"""Beside every figure of a page one reads in one sentence how it is computed."""

import html
import re
from collections.abc import Iterator

import pytest
from django.contrib.auth.models import User
from django.core.cache import caches
from django.test import Client

from results.models import Pool, PullSet
from results.pages.computed import PAGES
from results.pages.pools.line_pair import query_of
from rigs.models import Rig

COUNTED_OR_WRITTEN = {"Pulls", "Reading", "Discarded before pulling", "Diameter of the join"}
"""Numbers that nothing is computed for: counts, and what testers wrote."""
HEADING = re.compile(r'<th scope="col" class="number[^"]*">(.*?)</th>')
FACT = re.compile(r"<dt>(.*?)</dt>\s*<dd>(.*?)</dd>", re.DOTALL)
MEASURED = re.compile(r"\d[\d.,]*\s?(?:%|N\b|kN\b|kg\b|lbf?\b)|\d\.\d{2,}")


def bare(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", text)).split())


def figures_on(page: str) -> Iterator[str]:
    """What the page calls the numbers of its tables and lists of facts, but for its methods."""
    before = page.partition('id="methods"')[0]
    rest = page.partition('id="methods"')[2].partition("</details>")[2]
    for text in (before, rest):
        yield from map(bare, HEADING.findall(text))
        for facts in re.findall(r'<dl class="facts">(.*?)</dl>', text, re.DOTALL):
            for name, said in FACT.findall(facts):
                if MEASURED.search(bare(said)):
                    yield bare(name)


def methods_on(page: str) -> dict[str, str]:
    """By label, the sentence."""
    part = page.partition('id="methods"')[2].partition("</details>")[0]
    found = {}
    for entry in re.findall(r"<div>(.*?)</div>", part, re.DOTALL):
        sentence = bare(re.search(r'<dd class="method">(.*?)</dd>', entry, re.DOTALL)[1])
        found |= {bare(label): sentence for label in re.findall(r"<dt>(.*?)</dt>", entry)}
    return found


def addresses() -> Iterator[tuple[str, str, User | None]]:
    """A page of each kind, its address, and who looks at it."""
    yield "list", "/", None
    pooled = Pool.objects.exclude(current__efficiency=None)
    for query in sorted({query_of(pool) for pool in pooled}):
        yield "comparison", f"/compare/?{query}", None
    for pull_set in PullSet.objects.filter(normalised__isnull=False).order_by("pk")[::40]:
        owner = pull_set.session.contributor.user
        yield "set", f"/pull-sets/{pull_set.pk}/", owner
    for rig in Rig.objects.order_by("pk")[::2]:
        yield "rig", f"/rigs/{rig.pk}/", rig.owner.user
    pooled = User.objects.filter(contributor__sessions__pull_sets__state="pooled")
    for user in pooled.order_by("pk").distinct()[::3]:
        yield "tying", "/bench/tying/", user


def page_at(address: str, user: User | None) -> str:
    client = Client()
    if user is not None:
        client.force_login(user)
    answer = client.get(address)
    assert answer.status_code == 200, address
    return answer.content.decode()


@pytest.mark.usefixtures("kept", "planted_past")
def test_every_figure_of_every_page_says_how_it_is_computed():
    caches["kept"].clear()
    seen: dict[str, set[str]] = {}
    for kind, address, user in addresses():
        page = page_at(address, user)
        named = methods_on(page)
        figures = set(figures_on(page)) - COUNTED_OR_WRITTEN
        if kind == "tying" and not named:
            assert "yours; the others" not in page
            continue
        assert figures <= set(named), (address, figures - set(named))
        assert all(re.fullmatch(r"[A-Z].*\.", sentence) for sentence in named.values())
        seen.setdefault(kind, set()).update(figures)
    assert set(seen) == set(PAGES) - {"set computed before"}
    assert all(len(figures) > 2 for figures in seen.values()), seen
