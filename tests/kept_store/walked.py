"""Every address walked once as each kind of person: what was answered, and what a page weighs."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

from django.contrib.auth.models import User
from django.contrib.staticfiles import finders
from django.db import transaction
from django.test import Client

from tests import every_address
from tests.every_address import Address

STATIC = "/static/"
IMPORTED = re.compile(r"@import (?:url\()?[\"']?([^\"')]+)")


@dataclass(frozen=True)
class Answer:
    """What one person was answered at one address; ``html`` and all after it are of pages alone.

    ``bytes_sent`` is of the page and all that a browser fetches with it, as it is sent.
    ``kinds`` are the kinds of elements that stand in it, each with what it stands in.
    """

    person: str
    route: str
    address: str
    status: int
    html: bytes = b""
    bytes_sent: int = 0
    kinds: frozenset[str] = frozenset()


def walk(people: Sequence[User | None], addresses: Iterable[Address]) -> list[Answer]:
    """Ask at each address as each of these people; nothing of it stays."""
    found = []
    asked = list(addresses)
    with transaction.atomic():
        for user in people:
            client = every_address.client_of(user)
            found += [_asked(client, user, *each) for each in asked]
        transaction.set_rollback(True)
    return found


def _asked(client: Client, user: User | None, route: str, address: str) -> Answer:
    person = user.username if user else "a stranger"
    answer = client.get(address, headers={"accept-encoding": "gzip"})
    if answer.status_code != 200 or not answer["Content-Type"].startswith("text/html"):
        return Answer(person, route, address, answer.status_code)
    body = sent = every_address.body_of(answer)
    if answer.get("Content-Encoding") == "gzip":
        body = gzip.decompress(sent)
    read = _Read()
    read.feed(body.decode())
    weight = len(sent) + sum(_weight(client, each) for each in read.fetched)
    return Answer(person, route, address, 200, body, weight, frozenset(read.kinds))


def _weight(client: Client, address: str) -> int:
    if address.startswith(STATIC):
        return _weight_of_static(address.removeprefix(STATIC))
    answer = client.get(address, headers={"accept-encoding": "gzip"})
    return len(every_address.body_of(answer))


@cache
def _weight_of_static(name: str) -> int:
    """Packed as `collectstatic` keeps it, with the style sheets that it brings along."""
    body = static(name)
    packed = len(gzip.compress(body))
    if not name.endswith(".css"):
        return packed
    beside = Path(name).parent
    imported = IMPORTED.findall(body.decode())
    return packed + sum(_weight_of_static(str(beside / each)) for each in imported)


def static(name: str) -> bytes:
    """A script, style sheet or picture that comes with the pages."""
    found = finders.find(name)
    assert isinstance(found, str), f"{name}: no such static file"
    return Path(found).read_bytes()


@dataclass
class _Read(HTMLParser):
    """What a page fetches at first load, and the kinds of elements that stand in it."""

    fetched: set[str] = field(default_factory=set)
    kinds: set[str] = field(default_factory=set)
    above: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        kind = ".".join([tag, *_looks(given), given.get("type", "")])
        self.kinds.add(f"{self.above[-1].partition('.')[0] if self.above else ''} > {kind}")
        if tag not in EMPTY:
            self.above.append(kind)
        wanted = given.get("src", "") if tag in ("script", "img") else ""
        if tag == "link" and given.get("rel") in ("stylesheet", "icon"):
            wanted = given.get("href", "")
        if wanted and not wanted.startswith("data:") and given.get("loading") != "lazy":
            self.fetched.add(wanted)

    def handle_endtag(self, tag: str) -> None:
        while self.above and self.above.pop().split(".")[0] != tag:
            pass


def _looks(given: dict[str, str]) -> list[str]:
    """Its classes but for those that name a table or a column, which look like any other."""
    return [each for each in given.get("class", "").split() if not NAMES_A_TABLE.match(each)]


NAMES_A_TABLE = re.compile(r"app-|model-|column-|field-|action-|sort")
EMPTY = ("br", "col", "hr", "img", "input", "link", "meta", "source", "wbr", "path", "circle")
EMPTY += ("line", "rect", "polyline", "use")
