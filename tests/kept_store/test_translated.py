"""In a pseudo-language every text of every page is translated, but for what people wrote."""

from __future__ import annotations

import re
from collections.abc import Iterator
from http import HTTPStatus

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db.models import CharField, JSONField, TextField
from django.test import Client

from results.models import Notice, Pull, PullSet, Session
from results.open_data.tables import TABLES
from results.open_data.trace_columns import TRACES
from results.open_data.trace_files import TEXTS
from rigs.calibration_report import notes_on
from rigs.licence import SHARED_DATA
from rigs.models import Calibration
from tests import every_address
from tests.translation.marked import NAMES, WORD, Visible, messages
from tests.translation.pseudo import LANGUAGE, compiled, messages_of_frameworks

UNITS = frozenset(["cm", "gf", "Hz", "kg", "kgf", "kN", "lb", "lbf", "mm", "ms", "oz", "ozf"])
SHORT = frozenset(["ab", "BY", "CC", "CR", "CSV", "CV", "ISO", "XLSX"])
"""Names of forms, standards and the licence, and the letters beside places in the list."""
OF_A_DAY = frozenset(["de"])
"""What the language of the test puts between the parts of a day."""
SAME = NAMES | UNITS | SHORT | OF_A_DAY
ENGLISH = re.compile(
    r"(\w[\w '-]* bench|rig \d+), revision \d+"  # how a revision is called everywhere
    r"|(label|rig|set|spool|terminal) \d+"  # what stands for a name that is not accepted
    r"|(Indication|Repeatability|Resolution) at .* percent, class [\d.]+ allows [\d.]+\."
    r"|.*scatter needs a set of at least two pulls.*"
    r"|<iframe .*"
)
"""Sentences of pure packages, names that are made of what is stored, and HTML to copy."""
POINT = re.compile(r"(?<![\w.:-])\d+\.\d+(?![\w.:-])")
"""A decimal point, but of versions, addresses and paragraphs."""


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


def plain_parts(text: str, data: list[str], numbers: set[str]) -> list[str]:
    """Words in plain letters, and numbers with a point, of what is neither stored nor a name."""
    text = " ".join(re.sub(r"https?://\S+|/\S*/\S*|[0-9a-f-]{12,}", " ", text).split())
    if ENGLISH.fullmatch(text):
        return []
    pointed = [each for each in POINT.findall(text) if each not in numbers]
    for kept in data if _words(text) else ():
        if kept in text:
            text = re.sub(rf"(?<!\w){re.escape(kept)}(?!\w)", " ", text)
            if not _words(text):
                break
    return _words(text) + pointed


def _words(text: str) -> list[str]:
    return [each for each in WORD.findall(text) if each.isascii() and each not in SAME]


def written_with_a_point(texts: set[str]) -> set[str]:
    """Numbers as people wrote them, of examples in sentences, and in notes the API gives too."""
    said = {each for message in messages() for each in message}
    notes = {note for calibration in Calibration.objects.all() for note in notes_on(calibration)}
    readings = set(Pull.objects.values_list("reading_written", flat=True))
    return {each for text in texts | said | notes | readings for each in POINT.findall(text)}


def names_of_things() -> set[str]:
    """What pages call a tie on its lines: put together of what is stored."""
    return {pull_set.specimen for pull_set in PullSet.objects.select_related("connection")}


def sentences_of_notices() -> set[str]:
    """A page leaves out of a notice what it says of the set itself."""
    notices = Notice.objects.values_list("text", flat=True)
    return {sentence for text in notices for sentence in re.split(r"(?<=[.!?])\s", text)}


def test_every_text_of_every_page_is_translated_but_for_data(kept, pseudo):
    """Days and decimal marks are the language's own as well."""
    documents = {text for table in TABLES for text in texts_of(table.description)} | set(TEXTS)
    for column in TRACES.columns:
        documents |= {*texts_of(column.description), *texts_of(column.type)}
    fixed = {SHARED_DATA.name, *Pull.FailureMode.values, *(each.phrase for each in HTTPStatus)}
    known = stored() | documents | fixed | names_of_things() | sentences_of_notices()
    data, numbers = sorted(known, key=len, reverse=True), written_with_a_point(known)
    plain: dict[str, str] = {}
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
                found = plain_parts(text, data, numbers)
                if found:
                    plain.setdefault(f"{' '.join(text.split())[:150]} {found[:4]}", route)
    assert seen > 60
    assert sorted(plain.items()) == []
