"""Finds the sentences of the product: those marked for translation, and those that are not."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

from django.template.base import Lexer, TokenType
from django.utils.translation.template import templatize

ROOT = Path(__file__).parents[2]
TEMPLATES = ("results/pages/templates", "results/templates")
PYTHON = ("api", "results", "rigs")
MARKS = {"gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy", "_"}
PLURAL = {"ngettext", "ngettext_lazy"}
Message = tuple[str, ...]
"""A message, or one of a thing and the same of several."""

NAMES = frozenset(
    [
        "Same",
        "spool",
        "Samespool",
        "I²",
        "API",
        "SVG",
        "PNG",
        "SHA",
        "JSON",
        "README",
        "datapackage",
        "json",
        "md",
        "UTC",
        "τ",
    ]
)
"""Names that are the same in every language; units and symbols have fewer letters than a word."""
WORD = re.compile(r"[^\W\d_]{2,}")
SHOWN = ("alt", "aria-label", "placeholder", "title")
QUIET = ("code", "script", "style")


def templates() -> list[Path]:
    """The templates of pages and of the desk."""
    return sorted(
        found for folder in TEMPLATES for found in (ROOT / folder).rglob("*") if found.is_file()
    )


def modules() -> list[Path]:
    """All modules of the product that may say something, but for migrations."""
    found = (path for folder in PYTHON for path in (ROOT / folder).rglob("*.py"))
    return sorted(path for path in found if "migrations" not in path.parts)


def messages() -> set[Message]:
    """What makemessages would extract from templates and modules."""
    found: set[Message] = set()
    for path in templates():
        found |= set(_calls(ast.parse(_python_of(path.read_text()))))
    for path in modules():
        found |= set(_calls(ast.parse(path.read_text())))
    return found


def _python_of(template: str) -> str:
    """The template's calls of gettext, a line each, and nothing else."""
    told = templatize(template)
    calls = re.findall(
        r"(?<!\w)(n?gettext|_)\((u?(?:'(?:\\.|[^'])*'|\"(?:\\.|[^\"])*\").*?)\)(?= |$)", told, re.S
    )
    return "\n".join(f"{name}({arguments})" for name, arguments in calls)


def _calls(tree: ast.AST) -> Iterator[Message]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and name_of(node.func) in MARKS:
            number = 2 if name_of(node.func) in PLURAL else 1
            told = [each.value for each in node.args[:number] if isinstance(each, ast.Constant)]
            if len(told) == number and all(isinstance(each, str) for each in told):
                yield tuple(str(each) for each in told)


def name_of(function: ast.expr) -> str:
    """The last part of what is called: ``add`` of ``findings.add``."""
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


class Visible(HTMLParser):
    """The texts of a page that a person reads, and those of attributes that are read out."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._quiet = 0
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._quiet += tag in QUIET
        told = dict(attrs)
        if tag == "input" and told.get("type") in ("submit", "button"):
            self.texts.append(told.get("value") or "")
        self.texts += [told[name] or "" for name in SHOWN if name in told]
        if tag == "meta" and "description" in (told.get("name"), told.get("property")):
            self.texts.append(told.get("content") or "")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self._quiet -= tag in QUIET

    def handle_endtag(self, tag: str) -> None:
        self._quiet -= tag in QUIET

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.texts.append(data)


def unmarked_in(template: str) -> list[str]:
    """Texts of a template that stand in it in plain words."""
    kept, inside = "", False
    found = []
    for token in Lexer(template).tokenize():
        if token.token_type == TokenType.TEXT:
            kept += "" if inside else token.contents
            continue
        word = token.contents.split()[0] if token.contents else ""
        if word in ("blocktranslate", "endblocktranslate"):
            inside = word == "blocktranslate"
        if token.token_type == TokenType.VAR:
            found += re.findall(
                r"default(?:_if_none)?:[\"'][^\"']*[a-z]{2}[^\"']*[\"']", token.contents
            )
        kept += "0"
    page = Visible(re.sub(r"<meta [^>]*>", "", kept))
    return found + [
        " ".join(text.split())
        for text in page.texts
        if [word for word in WORD.findall(text) if word not in NAMES]
    ]
