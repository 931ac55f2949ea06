"""A figure is the same wherever it is shown: all public pages of the demo are read and compared."""

from __future__ import annotations

import re
from collections import defaultdict
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
import requests

from deploy.tools.processes import TIMEOUT_S

PUBLIC = re.compile(
    r"/(pools/\d+/|pull-sets/\d+/|compare/|connections/\d+/|lines/\d+/|contributors/[^/]+/)$"
)
OF_A_POOL, OF_A_SET = re.compile(r"/pools/\d+/$"), re.compile(r"/pull-sets/\d+/$")
INTERVAL = r"(\d+\.\d) to (\d+\.\d)%"
SHARE = re.compile(r"(\d+\.\d)% (?:of the straight line )?" + INTERVAL)
BUDGET = re.compile(r"Efficiency (\d+\.\d)%, combined")


class Rows(HTMLParser):
    """The words of a page, and those of each row of its tables with the links in it."""

    def __init__(self, address: str, text: str) -> None:
        super().__init__()
        self.address, self.links = address, list[str]()
        self.rows: list[tuple[list[str], str]] = []
        self._words: list[str] = []
        self._row: tuple[list[str], list[str]] | None = None
        self.feed(text)
        self.text = " ".join(" ".join(self._words).split())

    def handle_starttag(self, tag, attrs):
        href = dict(attrs).get("href")
        if tag == "tr":
            self._row = ([], [])
        elif tag == "a" and href:
            link = urljoin(self.address, href)
            self.links.append(link)
            if self._row is not None:
                self._row[0].append(urlsplit(link).path)

    def handle_endtag(self, tag):
        if tag == "tr" and self._row is not None:
            links, words = self._row
            self.rows.append((links, " ".join(" ".join(words).split())))
            self._row = None

    def handle_data(self, data):
        self._words.append(data)
        if self._row is not None:
            self._row[1].append(data)


@pytest.fixture(scope="module")
def pages(tried) -> dict[str, Rows]:
    """Every public page that can be reached from the list, by its address."""
    read: dict[str, Rows] = {}
    ways = [f"http://127.0.0.1:{tried.port}/"]
    with requests.Session() as session:
        session.trust_env = False
        while ways:
            address = ways.pop()
            if address in read:
                continue
            answer = session.get(address, timeout=TIMEOUT_S)
            assert answer.ok, address
            read[address] = Rows(address, answer.text)
            found = {link.partition("#")[0] for link in read[address].links}
            ways += [link for link in found if PUBLIC.match(urlsplit(link).path)]
    return read


def shares(pages: dict[str, Rows], kind: re.Pattern[str]) -> dict[str, dict[str, set[str]]]:
    """What is written of each pool or set: the share and its interval, by the pages saying it."""
    said: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for address, page in pages.items():
        own = urlsplit(address).path
        if kind.match(own) and (found := SHARE.search(page.text)):
            said[own][found.group().replace("of the straight line ", "")].add(address)
        for links, words in page.rows:
            named = {link for link in links if kind.match(link)}
            if kind is OF_A_POOL and any(map(OF_A_SET.match, links)):
                continue  # the row of a set, in its tester's list
            if len(named) == 1 and (found := SHARE.search(words)):
                said[named.pop()][found.group()].add(address)
    return said


@pytest.mark.parametrize(("kind", "least"), [(OF_A_POOL, 15), (OF_A_SET, 100)])
def test_a_share_and_its_interval_are_written_alike_on_every_page(pages, kind, least):
    said = shares(pages, kind)
    often = [of for of, written in said.items() if len(set().union(*written.values())) > 1]
    assert len(often) >= least
    apart = {of: dict(written) for of, written in said.items() if len(written) > 1}
    assert apart == {}


def test_a_budget_and_the_headline_above_it_are_of_one_figure(pages):
    compared = 0
    for address, page in pages.items():
        headline, budget = SHARE.search(page.text), BUDGET.search(page.text)
        if OF_A_SET.match(urlsplit(address).path) and headline and budget:
            compared += 1
            assert headline.group(1) == budget.group(1), address
    assert compared >= 100


def test_the_worst_pull_and_the_rest_are_counted_from_the_same_pulls(pages):
    compared = 0
    for address, page in pages.items():
        worst = re.search(r"The worst of (\d+) pulls(?:.*?Of all (\d+) pulls)?", page.text)
        if worst:
            compared += 1
            all_pulls = re.search(r"(\d+) sets?, (\d+) pulls", page.text).group(2)
            assert (worst.group(2) or worst.group(1)) == all_pulls, address
            held = re.search(r"from (\d+) pulls by", page.text)
            assert held is None or held.group(1) == all_pulls, address
    assert compared >= 10


def test_what_most_ties_hold_is_always_of_nine_in_ten(pages):
    held = [page for page in pages.values() if "ine in ten" in page.text]
    assert len(held) >= 20
    assert [address for address, page in pages.items() if "95 in 100 ties" in page.text] == []
