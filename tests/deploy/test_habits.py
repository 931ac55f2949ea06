"""What is asked of a change is asked before its commit as well."""

import ast
import re
import tomllib
from pathlib import Path

import yaml

from deploy.tools.checks import LINTERS, PROGRAMS

ROOT = Path(__file__).resolve().parents[2]
HOOKS = [
    hook
    for repository in yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text())["repos"]
    for hook in repository["hooks"]
]


def test_before_a_commit_the_same_programs_run_as_in_all_checks():
    def begun(command: list[str]) -> tuple[str, ...]:
        return tuple(command[:2])

    before = {begun(hook["entry"].removeprefix(".venv/bin/").split()) for hook in HOOKS}
    assert {begun(command) for command in LINTERS.values()} <= before


def test_every_hook_is_a_program_of_the_environment_and_fetches_nothing():
    for hook in HOOKS:
        assert hook["language"] == "system"
        assert (PROGRAMS / Path(hook["entry"].split()[0]).name).exists(), hook["id"]


def test_the_changes_of_this_version_are_reported():
    version = next(
        line.split('"')[1]
        for line in (ROOT / "pyproject.toml").read_text().splitlines()
        if line.startswith("version")
    )
    assert f"## {version}" in (ROOT / "CHANGELOG.md").read_text()


def test_one_fixture_starts_the_browser_and_no_story_makes_it_its_own():
    """Imported into another module it is a second one, and two can't run in one process."""
    stories = {path: path.read_text() for path in sorted((ROOT / "tests").rglob("*.py"))}
    started = [
        path.name for path, text in stories.items() if re.search(r"sync_playwright\(\)", text)
    ]
    imported = re.compile(r"^from \S*(?:conftest|people) import [^\n]*\bbrowser\b", re.MULTILINE)
    assert started == ["people.py"]
    assert [path.name for path, text in stories.items() if imported.search(text)] == []


def test_all_code_is_checked_strictly_and_what_is_not_says_why():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mypy"]
    assert settings["strict"] is True
    packages = [ROOT / name for name in LINTERS["types"][1:]]
    lines = [
        line.strip()
        for package in packages
        for path in package.rglob("*.py")
        for line in path.read_text().splitlines()
        if "# type: ignore" in line
    ]
    assert len(packages) == 4
    without = [line for line in lines if not re.search(r"# type: ignore\[[a-z,-]+\]  # \w", line)]
    assert without == []


def _chain(call: ast.AST) -> list[ast.Call]:
    """The calls of which each is a method of what the next one returned, the last one first."""
    found = []
    while isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute):
        found.append(call)
        call = call.func.value
    return found


def test_no_test_is_named_by_all_that_its_value_says():
    """`tests/conftest.py` names tests of files by their argument, unless `ids` says otherwise."""
    stories = {path.name: path.read_text() for path in sorted((ROOT / "tests").rglob("*.py"))}
    named = re.compile(r"\bids=(?:str|repr|bytes|ascii)\b")
    assert [name for name, text in stories.items() if named.search(text)] == []


def test_no_values_are_made_distinct_in_the_order_of_their_model():
    """That order's columns are selected as well, so that equal values stay apart."""
    wrong = []
    for path in sorted(
        each for name in ("api", "results", "rigs") for each in (ROOT / name).rglob("*.py")
    ):
        chains = [_chain(node) for node in ast.walk(ast.parse(path.read_text()))]
        for chain in chains:
            by_name = {call.func.attr: call for call in chain}
            values = by_name.get("values_list", by_name.get("values"))
            if "distinct" not in by_name or values is None:
                continue
            keys = [arg.value for arg in values.args if isinstance(arg, ast.Constant)]
            ordered = any(
                "order_by" in {one.func.attr for one in each} and chain[0] in each
                for each in chains
            )
            if not ordered and keys != ["pk"]:
                wrong.append(f"{path.relative_to(ROOT)}:{chain[0].lineno}")
    assert wrong == []
