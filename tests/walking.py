"""What a page offers to go on by: its links and forms, as a browser would follow and send them."""

from __future__ import annotations

import random
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urlencode, urljoin, urlsplit

QUERIES = ("", "blood", "1", "-1", "uni to uni", "2026-01-10", "é")
"""What somebody may type into a field of a search."""


@dataclass
class Field:
    """A field of a form: its type, and the values it can be sent with, the shown one first."""

    name: str
    type: str
    values: list[str]
    sent: bool = True


@dataclass
class Form:
    """A form: where it is sent to and how, and what with."""

    action: str
    method: str
    fields: list[Field] = field(default_factory=list)
    buttons: list[Field] = field(default_factory=list)

    def as_shown(self) -> list[tuple[str, str]]:
        """What a browser sends where nothing is changed, by the first button."""
        pressed = [each for each in self.buttons[:1] if each.name]
        shown = [each for each in self.fields if each.sent] + pressed
        return [(each.name, each.values[0] if each.values else "") for each in shown]

    def at_random(self, rng: random.Random) -> str:
        """A query such as somebody who tries things out sends."""
        answer = []
        for each in self.fields:
            if each.type in ("checkbox", "radio"):
                answer += [(each.name, each.values[0])] if rng.random() < 0.3 else []
            elif each.type == "hidden":
                answer.append((each.name, each.values[0]))
            else:
                answer.append(
                    (each.name, rng.choice(each.values if each.type == "select" else QUERIES))
                )
        return urlencode(answer)


class Seen(HTMLParser):
    """The links of a page, absolute, and its forms. ``address`` is where it was found."""

    def __init__(self, address: str, text: str) -> None:
        super().__init__()
        self.address = address
        self.links: list[str] = []
        self.forms: list[Form] = []
        self.ids: set[str] = set()
        self._form: Form | None = None
        self._select: Field | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        answer = {name: value or "" for name, value in attrs}
        self.ids.add(answer.get("id", ""))
        if tag == "a" and answer.get("href"):
            self.links.append(urljoin(self.address, answer["href"]))
        elif tag == "form":
            action = urljoin(self.address, answer.get("action", ""))
            self._form = Form(action, answer.get("method", "get").lower())
            self.forms.append(self._form)
        elif self._form is not None:
            self._handle_field(self._form, tag, answer)

    def _handle_field(self, form: Form, tag: str, answer: dict[str, str]) -> None:
        kind = answer.get("type", "submit" if tag == "button" else "text")
        one = Field(answer.get("name", ""), kind, [answer.get("value", "")])
        if tag == "option" and self._select is not None:
            at = 0 if "selected" in answer else len(self._select.values)
            self._select.values.insert(at, answer.get("value", ""))
        elif tag in ("input", "button") and kind in ("submit", "image"):
            form.buttons.append(one)
        elif tag == "input" and one.name and kind not in ("button", "reset", "file"):
            if kind in ("checkbox", "radio"):
                one.sent, one.values = "checked" in answer, [answer.get("value", "on")]
            form.fields.append(one)
        elif tag == "textarea":
            form.fields.append(Field(answer.get("name", ""), "textarea", [""]))
        elif tag == "select":
            self._select = Field(answer.get("name", ""), "select", [])
            form.fields.append(self._select)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = None

    def ways_on(self) -> list[str]:
        """Addresses of the same service that the links lead to, but for this page itself.

        What opens as a window that only gives back a choice is walked to as a page.
        """
        here = urlsplit(self.address)
        found = (link.split("?" if "_popup=" in link else "#")[0] for link in self.links)
        return [
            link
            for link in found
            if urlsplit(link)[:2] == here[:2] and link != self.address.split("#")[0]
        ]


def ways_in_document(address: str, document: object) -> list[str]:
    """Addresses of the same service that stand as values in a JSON document."""
    if isinstance(document, dict):
        return [way for value in document.values() for way in ways_in_document(address, value)]
    if isinstance(document, list):
        return [way for value in document for way in ways_in_document(address, value)]
    if isinstance(document, str) and document.startswith(("/", "http")):
        way = urljoin(address, document)
        return [way] if urlsplit(way)[:2] == urlsplit(address)[:2] else []
    return []


def choose(rng: random.Random, ways: Sequence[str]) -> str:
    """One of the ways: first a sort of address, then one of it, so that long lists don't win."""
    sorts = defaultdict(list)
    for way in ways:
        path, _, query = way.partition("?")
        names = tuple(sorted(part.partition("=")[0] for part in query.split("&")))
        sorts[re.sub(r"\d+", "", path), names].append(way)
    return rng.choice(sorts[rng.choice(sorted(sorts))])
