"""In a pseudo-language every text of every page is translated, but for what people wrote."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db.models import CharField, JSONField, TextField
from django.test import Client

from results.models import Session
from tests import every_address
from tests.translation.marked import NAMES, WORD, Visible, messages
from tests.translation.pseudo import LANGUAGE, compiled, messages_of_frameworks

pytest_plugins = ("tests.kept_store.conftest",)
UNITS = frozenset(
    [
        "lbf",
        "kgf",
        "kN",
        "kg",
        "mm",
        "cm",
        "lb",
        "oz",
        "ms",
        "Hz",
        "CV",
        "CR",
        "DOI",
        "ISO",
        "CSV",
        "XLSX",
        "gf",
    ]
)
SAME = NAMES | UNITS


@pytest.fixture
def pseudo(settings, tmp_path) -> None:
    settings.LANGUAGES = [("en-gb", "English"), (LANGUAGE, "Pseudo")]
    marked = {*messages_of_frameworks(), *messages()}
    settings.LOCALE_PATHS = [compiled(marked, tmp_path / "locale")]


def stored() -> set[str]:
    """Every text that is kept, and what a page makes of the names of parameters."""
    found: set[str] = set()
    for model in apps.get_models():
        fields = [
            field.attname
            for field in model._meta.concrete_fields
            if isinstance(field, CharField | TextField | JSONField)
        ]
        for row in model._base_manager.values_list(*fields) if fields else ():
            for value in row:
                found |= set(texts_of(value))
    found |= {text.replace("_", " ") for text in found}
    return {text for text in found if WORD.search(text)}


def texts_of(value: object) -> Iterator[str]:
    if isinstance(value, str):
        text = " ".join(value.split())
        yield from (text, text[:1].upper() + text[1:])
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from texts_of(name)
            yield from texts_of(one)
    elif isinstance(value, list):
        for one in value:
            yield from texts_of(one)


def plain_words(text: str, data: list[str]) -> list[str]:
    """Words in plain letters of what is neither stored, the longest first, nor a name."""
    text = " ".join(re.sub(r"https?://\S+|/\S*/\S*|[0-9a-f-]{12,}", " ", text).split())
    for kept in data if _plain(text) else ():
        if kept in text:
            text = re.sub(rf"(?<!\w){re.escape(kept)}(?!\w)", " ", text)
            if not _plain(text):
                break
    return _plain(text)


def _plain(text: str) -> list[str]:
    return [each for each in WORD.findall(text) if each.isascii() and each not in SAME]


def test_every_text_of_every_page_is_translated_but_for_data(kept, pseudo):
    data = sorted(stored(), key=len, reverse=True)
    plain: dict[str, list[str]] = {}
    tester = Session.objects.latest("pk").contributor.user
    moderator = User.objects.get(username="benchwarden")
    seen = 0
    for person in (None, tester, moderator):
        client: Client = every_address.client_of(person)
        for route, address in every_address.readable(every_address.numbers(1)):
            if route.startswith(("api/", "admin")):
                continue
            answer = client.get(address, headers={"Accept-Language": LANGUAGE})
            if "html" not in answer.headers.get("Content-Type", ""):
                continue
            seen += 1
            for text in Visible(answer.content.decode()).texts:
                found = plain_words(text, data)
                if found:
                    plain.setdefault(f"{' '.join(text.split())[:150]} {found[:4]}", []).append(
                        route
                    )
    assert seen > 60
    assert plain == {}
