"""No story fails for slowness alone: all wait as long as ``tools.processes.TIMEOUT_S`` says."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from deploy.tools.processes import TIMEOUT_S, running, wait_until

ROOT = Path(__file__).resolve().parents[2]
STORIES = sorted((ROOT / "tests").rglob("*.py"))
SHARED = [ROOT / "deploy/tools" / name for name in ("processes.py", "throwaway.py", "checks.py")]
WAITS = {"wait_until", "wait", "acquire", "result", "join", "set_default_timeout"}
"""Calls that take as a number how long they wait."""
NAMES = ("timeout",)
NO_WAIT = {
    ("tests/results/test_database_errors.py", "timeout"),  # a lock that is never to be had
    ("tests/deploy/test_duplicates.py", "wait"),  # a scheduler that goes on does not end
    ("tests/deploy/test_patience.py", "wait_until"),
}


def numbers(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def short_waits(file: Path) -> Iterator[str]:
    """Places where a story says by a number of its own how long it waits."""
    name = str(file.relative_to(ROOT))
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Call):
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            literal = called in WAITS and any(map(numbers, node.args))
            named = [k.arg for k in node.keywords if k.arg and k.arg.startswith(NAMES)]
            values = [k.value for k in node.keywords if k.arg in named]
            for found in [called] * literal + [
                k for k, v in zip(named, values, strict=True) if numbers(v)
            ]:
                if (name, found) not in NO_WAIT:
                    yield f"{name}:{node.lineno} {found}"
        elif isinstance(node, ast.Assign) and numbers(node.value):
            for target in node.targets:
                if "TIMEOUT" in getattr(target, "id", "") and node.value.value < TIMEOUT_S:
                    yield f"{name}:{node.lineno} {target.id}"


def test_no_story_says_by_a_number_of_its_own_how_long_it_waits():
    assert [place for file in [*STORIES, *SHARED] for place in short_waits(file)] == []


def test_the_wait_of_all_is_minutes():
    assert TIMEOUT_S >= 300


def test_such_numbers_are_found(tmp_path, monkeypatch):
    monkeypatch.setattr(f"{__name__}.ROOT", tmp_path)
    file = tmp_path / "test_hasty.py"
    file.write_text(
        "TIMEOUT_S = 30\n"
        "get(address, timeout=60)\n"
        "wait_until(there, 'It', 90)\n"
        "page.set_default_timeout(30_000)\n"
        "wait_until(there, 'It', TIMEOUT_S)\n"
    )
    found = [place.rpartition(":")[2] for place in short_waits(file)]
    assert sorted(found) == [
        "1 TIMEOUT_S",
        "2 timeout",
        "3 wait_until",
        "4 set_default_timeout",
    ]


def test_a_process_that_has_ended_is_not_waited_for():
    with running([sys.executable, "-c", "raise SystemExit(3)"]) as process:
        process.wait()
        with pytest.raises(ChildProcessError, match="The worker: its process ended with 3"):
            wait_until(lambda: False, "The worker", by=process)
