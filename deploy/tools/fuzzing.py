"""Schemathesis on a running service: every operation of its OpenAPI document, with all checks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CONFIGURATION = Path(__file__).with_name("fuzzing.toml")


@dataclass(frozen=True)
class Fuzzed:
    """What one run tried and found; ``said`` is what schemathesis printed of it."""

    operations: int
    examples: int
    failures: tuple[str, ...]
    said: str


def fuzz(
    address: str,
    authorization: Mapping[str, str],
    examples: int,
    folder: Path,
    random_state: int,
    phases: str = "examples,coverage,fuzzing,stateful",
) -> Fuzzed:
    """Fuzz each operation with about so many examples beside those that cover its parameters.

    ``authorization`` holds the header for an operation by its id, and for all others under "";
    without any, anonymously. Raises RuntimeError if the run itself fails.
    """
    report, configuration = folder / "report.json", folder / "fuzzing.toml"
    own = [_own_header(name, value) for name, value in authorization.items() if name]
    configuration.write_text(CONFIGURATION.read_text() + "".join(own))
    command = [str(Path(sys.executable).with_name("schemathesis"))]
    command += ["--config-file", str(configuration), "--no-color"]
    command += ["run", f"{address}/api/v1/schema", "--continue-on-failure"]
    # On a busy machine the first answer is a slow one.
    command += ["--request-timeout", "60", "--report", "json", "--report-json-path", str(report)]
    command += ["--phases", phases, "--max-examples", str(examples), "--seed", str(random_state)]
    if "" in authorization:
        command += ["--header", f"Authorization: {authorization['']}"]
    # The service is on this machine, so ignore any proxy in the environment.
    environment = {**os.environ, "no_proxy": "127.0.0.1,localhost"}
    ended = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    summary = json.loads(report.read_text() or "{}") if report.exists() else {}
    if not summary.get("complete") or summary["test_cases"] is None:
        raise RuntimeError(f"Schemathesis failed:\n{ended.stdout}{ended.stderr}")
    return _fuzzed(summary, ended.stdout)


def _own_header(operation: str, authorization: str) -> str:
    return (
        f'\n[[operations]]\ninclude-operation-id = "{operation}"\n'
        f'headers = {{ Authorization = "{authorization}" }}\n'
    )


def _fuzzed(report: dict[str, Any], said: str) -> Fuzzed:
    failures = tuple(
        f"{failure['title']}: {', '.join(failure['operations'])}" for failure in report["failures"]
    )
    errors = tuple(f"not run to its end: {error}" for error in report["errors"])
    tried = report["test_cases"]["generated"]
    return Fuzzed(report["operations"]["tested"], tried, failures + errors, said)
