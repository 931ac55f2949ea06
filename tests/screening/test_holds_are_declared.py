"""Every check that can hold says why an honest set may trip it, and what settles it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from django.utils.translation import override

from results.models.declared.holds import HOLDS, INFLUENCE, OTHERWISE, hold_named

ROOT = Path(__file__).resolve().parents[2] / "results"
SOURCES = (*(ROOT / "statistics/screening").glob("*.py"), *(ROOT / "screening").glob("*.py"))


def _constructed() -> Iterator[tuple[str, ast.Call]]:
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Check":
                yield path.stem, node


def _can_hold(call: ast.Call) -> bool:
    """With a p value any check can hold unless it says at most a mark; else where it says so."""
    named = {keyword.arg: ast.unparse(keyword.value) for keyword in call.keywords}
    given = [ast.unparse(value) for value in call.args]
    p = named.get("p", given[4] if len(given) > 4 else "None")
    level = named.get("level", given[5] if len(given) > 5 else "")
    if p == "None":
        return "HOLD" in level or level == "level"
    return "MARK" not in named.get("at_most", "")


def _names(call: ast.Call) -> set[str]:
    """The names a check goes by; one that is an argument is looked up where it is asked."""
    name = call.args[0] if call.args else next(k.value for k in call.keywords if k.arg == "name")
    if isinstance(name, ast.Constant):
        return {name.value}
    if ast.unparse(name) == "INFLUENCE":
        return {INFLUENCE}
    return {word for word in _words() if word.startswith("copied ")}


def _words() -> set[str]:
    checks = (ROOT / "screening/checks.py").read_text()
    return {
        node.value
        for node in ast.walk(ast.parse(checks))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def _holding() -> set[str]:
    return {
        name
        for module, call in _constructed()
        if _can_hold(call) and not _only_marks(module, call)
        for name in _names(call)
    }


def _only_marks(module: str, call: ast.Call) -> bool:
    """The marks of a rig's calibration, whose name and level are arguments of one function."""
    return module == "rig" and ast.unparse(call.args[0]) == "name"


def test_every_check_that_can_hold_declares_what_frees_from_it():
    assert _holding() - HOLDS.keys() == set()
    assert HOLDS.keys() - _holding() == {INFLUENCE} - _holding()


def test_what_is_declared_accuses_no_one_and_asks_for_no_photo():
    with override("en"):
        for name, hold in {**HOLDS, "otherwise": OTHERWISE}.items():
            for sentence in (str(hold.reasons), str(hold.settled_by)):
                assert sentence.endswith("."), name
                words = sentence.lower()
                assert not any(
                    word in words for word in ("photo", "film", "fraud", "cheat", "fake", "lie ")
                ), name


def test_a_check_of_another_release_is_answered_all_the_same():
    assert hold_named("a check that nobody runs any more") is OTHERWISE
