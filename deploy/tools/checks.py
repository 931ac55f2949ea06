"""Every check of the project, as `deploy/test` runs them.

Without arguments: style, types, import rule and migrations, then all tests on PostgreSQL and
Redis, then the stories once more embedded. With arguments, which go to pytest: those tests alone
on PostgreSQL and Redis.
"""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from deploy.tools import throwaway
from deploy.tools.processes import exit_on_sigterm, running

PROGRAMS = Path(sys.executable).parent
IN_PARALLEL = ["--numprocesses=auto", "--dist=loadfile", "--durations=10"]
LINTERS = {
    "style": ["ruff", "check", "."],
    "layout": ["ruff", "format", "--check", "."],
    "types": ["mypy", "api", "deploy", "results", "rigs"],
    "imports": ["lint-imports"],
    "migrations": ["python", "manage.py", "makemigrations", "--check", "--dry-run"],
    "what migrations lock": ["python", "-m", "deploy.tools.lint_migrations"],
}


@dataclass(frozen=True)
class Tally:
    """How many checks passed and failed."""

    passed: int = 0
    failed: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(self.passed + other.passed, self.failed + other.failed)


def main() -> int:
    """Run the checks; the exit code is 0 only where none failed."""
    exit_on_sigterm()
    arguments = sys.argv[1:]
    with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
        environment = {
            **os.environ,
            "SAMESPOOL_VAR": folder,
            "SAMESPOOL_SECRET_KEY": secrets.token_urlsafe(50),
            "OMP_NUM_THREADS": "1",
            # Stories of moderators sign in by password; those of the second factor ask for it.
            "SAMESPOOL_TWO_FACTOR": "false",
        }
        tally = on_servers(arguments, environment) if arguments else everything(environment)
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 1 if tally.failed or not tally.passed else 0


def everything(environment: dict[str, str]) -> Tally:
    """All there is to run."""
    tally = Tally()
    for name, command in LINTERS.items():
        tally += lint(name, command, environment)
    # Workers share the one queue, so their tests run one after the other.
    tally += on_servers([*IN_PARALLEL, "-m", "not worker and not machines"], environment)
    tally += on_servers(["-m", "worker"], environment)
    headline("the stories once more, embedded: SQLite, jobs inside the web process")
    return tally + pytest([*IN_PARALLEL, "tests/stories"], environment)


def lint(name: str, command: list[str], environment: dict[str, str]) -> Tally:
    """One check that is not a test."""
    headline(name)
    program = str(PROGRAMS / command[0])
    code = subprocess.run([program, *command[1:]], env=environment, check=False).returncode
    return Tally(failed=1) if code else Tally(passed=1)


def on_servers(arguments: list[str], environment: dict[str, str]) -> Tally:
    """Run pytest as production runs: on PostgreSQL and Redis."""
    headline("tests on PostgreSQL and Redis")
    with throwaway.postgresql() as database, throwaway.redis() as queue:
        servers = {"DATABASE_URL": database, "REDIS_URL": queue}
        return pytest(arguments, {**environment, **servers})


def pytest(arguments: list[str], environment: dict[str, str]) -> Tally:
    """Run pytest and count what it reports; a run that crashes counts as a failure."""
    report = Path(environment["SAMESPOOL_VAR"]) / "report.xml"
    report.unlink(missing_ok=True)
    options = [f"--junitxml={report}", "--continue-on-collection-errors"]
    command = [str(PROGRAMS / "pytest"), *options, *arguments]
    with running(command, stop_by=signal.SIGINT, env=environment) as process:
        code = process.wait()
    if not report.exists():
        return Tally(failed=1)
    suite = ElementTree.parse(report).getroot()[0]
    failed = int(suite.get("failures", 0)) + int(suite.get("errors", 0))
    passed = int(suite.get("tests", 0)) - failed - int(suite.get("skipped", 0))
    return Tally(passed, max(failed, 1) if code else failed)


def headline(text: str) -> None:
    """Say what comes next."""
    print(f"\n--- {text}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
