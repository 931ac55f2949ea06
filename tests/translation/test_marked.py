"""No sentence for people is left unmarked, and every marked one can be extracted and filled."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.translation.marked import (
    MARKS,
    ROOT,
    WORD,
    messages,
    modules,
    name_of,
    templates,
    unmarked_in,
)

REFUSALS = frozenset(
    [
        "AuthenticationFailed",
        "Conflict",
        "Forbidden",
        "Invalid",
        "ParseError",
        "Refused",
        "TooLarge",
        "Unreadable",
        "ValidationError",
    ]
)
SHOWN_BY_FORMS = frozenset(["help_text", "label"])
MESSAGES = frozenset(["error", "message_user", "success", "warning"])
FROM_ANNOTATIONS = {"results/intake/walk.py"}
"""Takes what it translates from annotations, where ``gettext_noop`` marks it."""
NAMES = frozenset([".csv, .xlsx, .json", "CSV (RFC 4180)", "JSON (RFC 8259)"])
NO_SENTENCES = frozenset(
    [
        "public, max-age=31536000, immutable",
        "straight line",
        '<rect width="100%" height="100%" fill="#ffffff"/>',
    ]
)
"""A header, the name of a kind of series, and a drawing."""


def is_sentence(node: ast.expr | None) -> bool:
    """Whether a text in plain words: two words or more, or a text that is filled in."""
    if isinstance(node, ast.IfExp):
        return is_sentence(node.body) or is_sentence(node.orelse)
    if isinstance(node, ast.BoolOp):
        return any(map(is_sentence, node.values))
    if isinstance(node, ast.JoinedStr):
        told = "".join(str(part.value) for part in node.values if isinstance(part, ast.Constant))
        return bool(WORD.search(told))
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return len(WORD.findall(node.value)) > 1 and node.value not in NAMES
    return False


def said_to_people(tree: ast.AST, *, pages: bool) -> Iterator[ast.expr]:
    """The places of a module whose texts people read."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and name_of(node.targets[0]) in ("expected", "found"):
            yield node.value
        if not isinstance(node, ast.Call):
            continue
        name = name_of(node.func)
        if name == "Finding" or (name in ("add", "refuse", "_refuse") and len(node.args) == 4):
            yield from node.args[2:4]
            yield from (each.value for each in node.keywords if each.arg in ("found", "expected"))
        elif name in REFUSALS:
            yield from node.args[:1]
            for each in node.args[:1]:
                if isinstance(each, ast.Dict):
                    yield from each.values
        elif name in MESSAGES and len(node.args) > 1:
            yield node.args[1]
        if pages:
            yield from (each.value for each in node.keywords if each.arg in SHOWN_BY_FORMS)


def test_every_module_marks_what_it_says_to_people():
    found = []
    for path in modules():
        place = str(path.relative_to(ROOT))
        tree = ast.parse(path.read_text())
        pages = place.startswith(("results/pages/", "results/review/desk/"))
        found += [
            f"{place}:{node.lineno}: {ast.unparse(node)}"
            for node in said_to_people(tree, pages=pages)
            if is_sentence(node)
        ]
    assert found == []


def test_a_page_says_nothing_in_plain_words_elsewhere():
    """Whatever else stands as words in a module of the pages is marked too."""
    found = []
    for path in modules():
        place = str(path.relative_to(ROOT))
        if place.startswith("results/pages/"):
            found += [f"{place}: {text}" for text in _plain_sentences(path)]
    assert found == []


def _plain_sentences(path: Path) -> Iterator[str]:
    tree = ast.parse(path.read_text())
    passed = {id(part) for node in ast.walk(tree) for part in _passed_over(node)}
    for node in ast.walk(tree):
        text = ast.unparse(node) if isinstance(node, ast.JoinedStr | ast.Constant) else ""
        if text.startswith("f'attachment;") or text.strip("'\"") in NO_SENTENCES:
            continue
        if id(node) not in passed and is_sentence(node if text else None):
            told = re.sub(r"\{[^}]*\}|<[^>]*>", "", text)
            if (
                " " in told.strip()
                and len(re.findall(r"(?<![\w/.=])[a-z]{2,}(?![\w/=(])", told)) > 1
            ):
                yield text


def _passed_over(node: ast.AST) -> Iterator[ast.AST]:
    """Documentation, annotations, assertions, keys, what is marked, parts of an f-string."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        yield node.value
    if isinstance(node, ast.Call) and name_of(node.func) in MARKS:
        yield from ast.walk(node)
    if isinstance(node, ast.Assert) and node.msg is not None:
        yield from ast.walk(node.msg)
    if isinstance(node, ast.Dict):
        yield from (key for key in node.keys if key is not None)
    if isinstance(node, ast.AnnAssign):
        yield from ast.walk(node.annotation)
    if isinstance(node, ast.JoinedStr):
        yield from node.values


@pytest.mark.parametrize("path", templates(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_template_has_no_words_outside_of_what_is_translated(path):
    assert unmarked_in(path.read_text()) == []


def test_what_is_marked_can_be_extracted():
    """Only texts as they stand: what is put together at run time is in no catalogue."""
    found = []
    for path in modules():
        place = str(path.relative_to(ROOT))
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and name_of(node.func) in MARKS and node.args:
                literal = isinstance(node.args[0], ast.Constant)
                if not literal and place not in FROM_ANNOTATIONS:
                    found.append(f"{place}:{node.lineno}: {ast.unparse(node)}")
    assert found == []


def test_what_is_filled_in_has_a_name():
    """So that another language can put it in another order."""
    positional = re.compile(r"(?<!%)(?:%%)*%[sdrfg]|\{\}")
    assert [each for message in messages() for each in message if positional.search(each)] == []


DATES = re.compile(r"\|date:")
MACHINE_READABLE = re.compile(r'datetime="\{\{ [\w.]+\|date:\'(c|Y-m-d)\' \}\}"')


@pytest.mark.parametrize("path", templates(), ids=lambda path: str(path.relative_to(ROOT)))
def test_days_go_through_the_one_helper(path):
    """``day`` and ``moment`` write them as the reader's language does."""
    assert DATES.findall(MACHINE_READABLE.sub("", path.read_text())) == []
