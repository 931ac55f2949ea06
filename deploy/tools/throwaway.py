"""PostgreSQL and Redis of the tests' own: on private ports, in a folder that goes away."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from deploy.tools.processes import free_port, running, wait_until


@contextlib.contextmanager
def postgresql() -> Iterator[str]:
    """A PostgreSQL server of one's own; yields the URL of an empty database on it."""
    with own_folder(unprivileged_account()) as folder:
        make = ["initdb", "--pgdata=data", "--username=samespool", "--no-sync"]
        _made(folder, [*make, "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8"])
        with _serving(folder) as port:
            yield f"postgresql://samespool@127.0.0.1:{port}/postgres"


@contextlib.contextmanager
def replica(of: str) -> Iterator[str]:
    """A streaming replica of such a server; yields the URL of the same database on it."""
    with own_folder(unprivileged_account()) as folder:
        copy = ["pg_basebackup", "--pgdata=data", f"--dbname={of}", "--write-recovery-conf"]
        _made(folder, [*copy, "--checkpoint=fast", "--no-sync"])
        with _serving(folder) as port:
            yield f"postgresql://samespool@127.0.0.1:{port}/postgres"


def _made(folder: Path, command: list[str]) -> None:
    command[0] = str(postgresql_programs() / command[0])
    with (folder / "log").open("ab") as log:
        options = {**unprivileged_account(), "cwd": folder, "stdout": log, "stderr": log}
        subprocess.run(command, check=True, **options)


@contextlib.contextmanager
def _serving(folder: Path) -> Iterator[int]:
    """A server on the folder's data; yields its port."""
    programs, port = postgresql_programs(), free_port()
    command = [str(programs / "postgres"), "-D", "data", "-p", str(port), "-k", str(folder)]
    # Statistics gathered between tests describe tables that each test empties again, and
    # mislead the planner; so none are.
    for setting in ("fsync=off", "synchronous_commit=off", "full_page_writes=off"):
        command += ["-c", setting]
    command += ["-c", "autovacuum=off", "-c", "random_page_cost=1.1"]
    log = (folder / "log").open("ab")
    options = {**unprivileged_account(), "cwd": folder, "stdout": log, "stderr": log}
    with running(command, stop_by=signal.SIGINT, **options):
        is_ready = [str(programs / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port)]
        wait_until(lambda: subprocess.run(is_ready, check=False).returncode == 0, "PostgreSQL")
        yield port


@contextlib.contextmanager
def redis() -> Iterator[str]:
    """A Redis server of one's own that keeps nothing; yields its URL."""
    port = free_port()
    with own_folder({}) as folder:
        command = ["redis-server", "--bind", "127.0.0.1", "--port", str(port), "--save", ""]
        log = (folder / "log").open("wb")
        with running(command, cwd=folder, stdout=log, stderr=log):
            ask = ["redis-cli", "-p", str(port), "ping"]
            wait_until(
                lambda: subprocess.run(ask, check=False, capture_output=True).stdout == b"PONG\n",
                "Redis",
            )
            yield f"redis://127.0.0.1:{port}/0"


def postgresql_programs() -> Path:
    """Where initdb and its companions are: on Debian not on the path."""
    found = [*Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if on_path := shutil.which("initdb"):
        found.append(Path(on_path))
    return max(found, key=lambda path: [int(part) for part in path.parts if part.isdigit()]).parent


def unprivileged_account() -> dict[str, Any]:
    """PostgreSQL refuses to run as root: the account to run it as, as options of a process."""
    if os.geteuid() != 0:
        return {}
    account = pwd.getpwnam("postgres")
    return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


@contextlib.contextmanager
def own_folder(account: dict[str, Any]) -> Iterator[Path]:
    """A folder of that account, which goes away."""
    with tempfile.TemporaryDirectory(prefix="samespool-") as name:
        if account:
            os.chown(name, account["user"], account["group"])
        yield Path(name)
