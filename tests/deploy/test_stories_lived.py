"""Each story of readers, testers and moderators is lived in a browser at both sizes."""

import ast
import re
from pathlib import Path

BROWSER = Path(__file__).parent.parent / "browser"
STORIES = {*range(1, 14), *range(17, 21)}
"""Of testers, readers and moderators; those of clubs and of re-users are lived elsewhere."""
NUMBERS = re.compile(r"Stor(?:y|ies) ([\d, toand]+)")


def numbers_in(docstring: str) -> set[int]:
    """``Stories 1 to 3 and 9`` are 1, 2, 3 and 9."""
    found = set[int]()
    for said in NUMBERS.findall(docstring):
        for part in re.split(r",|and", said):
            ends = [int(number) for number in re.findall(r"\d+", part)]
            found |= set(range(ends[0], ends[-1] + 1)) if ends else set()
    return found


def lived() -> dict[int, set[str]]:
    """The stories that tests name in their own docstrings, by number, and the files of these."""
    found: dict[int, set[str]] = {}
    for path in sorted(BROWSER.glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                for number in numbers_in(ast.get_docstring(node) or ""):
                    found.setdefault(number, set()).add(path.name)
    return found


def test_every_story_is_lived_by_a_test_of_the_browser():
    assert lived().keys() == STORIES


def test_and_at_both_sizes():
    """A file with a ``size`` of its own would live them at that one alone."""
    for name in set.union(*lived().values()):
        tree = ast.parse((BROWSER / name).read_text(encoding="utf-8"))
        own = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
        assert "size" not in own, name
