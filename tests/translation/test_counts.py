"""No sentence says '1 pulls' or '2 set': what is counted is said for 0, 1 and 2 apart."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.template import engines
from django.template.base import TokenType
from django.templatetags.i18n import BlockTranslateNode

ROOT = Path(settings.BASE_DIR)
ROOMS = ("api", "deploy/observing", "results", "rigs")
TEMPLATES = [path for room in ROOMS for path in sorted(ROOT.glob(f"{room}/**/templates/**/*.html"))]
CODE = [
    path
    for room in ROOMS
    for path in sorted(ROOT.glob(f"{room}/**/*.py"))
    if "migrations" not in path.parts
]
PLACE = re.compile(r"%\((\w+)\)[sd]")
COUNTED = "pull|set|session|tester|join|line|tie|code|sample|day|notice|vote|check|round"
"""What pages count; and their plurals."""
AFTER_A_NUMBER = re.compile(
    rf"(?<![\w.,])(\d+) (?:more |other |new |held |open |further )?"
    rf"({COUNTED})(s?)\b(?! products?| (?:to|of) \d)"
)
NEVER_ONE = {
    "that you have tied:": "said only where the joins take several pages",
    "joins compared:": "said of all joins on a page; one is said by the sentence beside it",
    "pulls a set detect": "a plan has at least two pulls a set",
    "from one club's round": "a pool has a figure from three sets on",
    "of the straight line": "of a figure: at least two pulls, of a pool three testers",
    "of its own straight line": "the worst is said of ten pulls or more",
    "ended at a grip or held": "the same",
    "it parted in": "of a pooled figure",
    "something else gave way in": "a set has an efficiency from two pulls on",
    "95% confidence, from": "the same",
    "of %(n)s pulls:": "the worst is said of ten pulls or more",
    "testers on.": "three, by the formulae",
    "one pull; the highest force": "a recording has many samples",
    "parted elsewhere and count": "a round has at least two testers",
    "at most": "a bound far above one was passed",
    "samples are taken": "the same",
    "The file holds": "a recording has many samples",
    "More than": "a bound far above one was passed",
    "parted in the free length": "three, by the formulae",
    "at least %(": "a bound above one",
    "no chart signals": "a chart has at least two sessions",
    "percent point": "sets is what a test does",
    "(%(interval)s)": "a pooled figure has three testers",
    "these %(sets)": "said of several sets alone",
    "The round is full": "a bound far above one",
    "that are not void": "a sample has at least two joins",
}
"""By words of it, why a sentence has one form: its number is never one, or counts nothing."""


class Sentence:
    """A sentence by place, and how it reads with a number in each of its places."""

    def __init__(self, where: str, one: str, several: str | None) -> None:
        self.where, self.one, self.several = where, one, several

    def said(self, number: int) -> str:
        text = self.one if number == 1 or self.several is None else self.several
        return " ".join(PLACE.sub(str(number), text).split())

    def faults(self) -> list[str]:
        if any(words in self.one for words in NEVER_ONE):
            return []
        found = []
        for number in (0, 1, 2):
            for value, _noun, ending in AFTER_A_NUMBER.findall(self.said(number)):
                if int(value) == number and (number == 1) == bool(ending):
                    found.append(f"{self.where}: {self.said(number)[:120]}")
        return found


def of_templates() -> Iterator[Sentence]:
    engine = engines["django"].engine  # type: ignore[attr-defined]
    for path in TEMPLATES:
        template = engine.from_string(path.read_text(encoding="utf-8"))
        for node in template.nodelist.get_nodes_by_type(BlockTranslateNode):
            forms = [
                "".join(
                    f"%({token.contents})s" if token.token_type is TokenType.VAR else token.contents
                    for token in tokens
                )
                for tokens in (node.singular, node.plural or [])
            ]
            yield Sentence(path.name, forms[0], forms[1] or None)


def of_code() -> Iterator[Sentence]:
    for path in CODE:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                continue
            words = [
                each.value
                for each in node.args
                if isinstance(each, ast.Constant) and isinstance(each.value, str)
            ]
            if node.func.id in ("gettext", "gettext_lazy", "_") and words:
                yield Sentence(f"{path.name}:{node.lineno}", words[0], None)
            elif node.func.id.startswith("ngettext") and len(words) == 2:
                yield Sentence(f"{path.name}:{node.lineno}", words[0], words[1])


@pytest.mark.parametrize("of", [of_templates, of_code])
def test_what_is_counted_is_said_for_none_one_and_two(of):
    sentences = list(of())
    assert len(sentences) > 100
    assert [fault for each in sentences for fault in each.faults()] == []


def test_what_is_excused_is_said_still():
    sentences = [each.one for of in (of_templates, of_code) for each in of()]
    assert [words for words in NEVER_ONE if not any(words in each for each in sentences)] == []


def test_a_sentence_that_says_one_pulls_is_found():
    """The guard itself: with both forms, with one, and where the number is no count."""
    one = Sentence("", "%(n)s pull of %(join)s", "%(n)s pulls of %(join)s")
    assert one.faults() == []
    assert len(Sentence("", "%(n)s pulls", None).faults()) == 1
    assert len(Sentence("", "%(n)s pull", None).faults()) == 2
