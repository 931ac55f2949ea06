"""PostgreSQL and Redis of the tests' own: on private ports, in a folder that goes away."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

PATIENCE_S = 30.0


def free_port() -> int:
    """A TCP port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(ready: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Ask again and again until it is ready; raises TimeoutError that names what was not."""
    last_moment = time.monotonic() + patience_s
    while not ready():
        if time.monotonic() > last_moment:
            raise TimeoutError(f"{what} was not ready within {patience_s:.0f} s")
        time.sleep(0.05)


@contextlib.contextmanager
def running(
    command: list[str], *, stop_by: signal.Signals = signal.SIGTERM, **options: Any
) -> Iterator[subprocess.Popen[bytes]]:
    """A process that is ended when the block is left, whichever way it is left."""
    process = subprocess.Popen(command, **options)
    try:
        yield process
    finally:
        process.send_signal(stop_by)
        try:
            process.wait(timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@contextlib.contextmanager
def postgresql() -> Iterator[str]:
    """A PostgreSQL server of one's own; yields the URL of an empty database on it."""
    programs = _postgresql_programs()
    port = free_port()
    account = _unprivileged_account()
    with _folder(account) as folder:
        log = (folder / "log").open("wb")
        options = {**account, "cwd": folder, "stdout": log, "stderr": log}
        make = [str(programs / "initdb"), "--pgdata=data", "--username=samespool", "--no-sync"]
        make += ["--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8"]
        subprocess.run(make, check=True, **options)
        command = [str(programs / "postgres"), "-D", "data", "-p", str(port), "-k", str(folder)]
        for setting in ("fsync=off", "synchronous_commit=off", "full_page_writes=off"):
            command += ["-c", setting]
        with running(command, stop_by=signal.SIGINT, **options):
            is_ready = [str(programs / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port)]
            wait_until(lambda: subprocess.run(is_ready, check=False).returncode == 0, "PostgreSQL")
            yield f"postgresql://samespool@127.0.0.1:{port}/postgres"


@contextlib.contextmanager
def redis() -> Iterator[str]:
    """A Redis server of one's own that keeps nothing; yields its URL."""
    port = free_port()
    with _folder({}) as folder:
        command = ["redis-server", "--bind", "127.0.0.1", "--port", str(port), "--save", ""]
        log = (folder / "log").open("wb")
        with running(command, cwd=folder, stdout=log, stderr=log):
            ask = ["redis-cli", "-p", str(port), "ping"]
            wait_until(
                lambda: subprocess.run(ask, check=False, capture_output=True).stdout == b"PONG\n",
                "Redis",
            )
            yield f"redis://127.0.0.1:{port}/0"


def _postgresql_programs() -> Path:
    """Where initdb and its companions are: on Debian not on the path."""
    found = [*Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if on_path := shutil.which("initdb"):
        found.append(Path(on_path))
    return max(found, key=lambda path: [int(part) for part in path.parts if part.isdigit()]).parent


def _unprivileged_account() -> dict[str, Any]:
    """PostgreSQL refuses to run as root: the account to run it as, as options of a process."""
    if os.geteuid() != 0:
        return {}
    account = pwd.getpwnam("postgres")
    return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


@contextlib.contextmanager
def _folder(account: dict[str, Any]) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="samespool-") as name:
        if account:
            os.chown(name, account["user"], account["group"])
        yield Path(name)
