"""A disk that can be filled, and PostgreSQL and Redis on it that can be stopped and started."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import redis

from deploy.benchmarks.faults.hosts import Host
from deploy.tools.processes import STOPS_WITHIN_S, free_port, wait_until
from deploy.tools.throwaway import postgresql_programs, unprivileged_account

BALLAST = "ballast"
DATABASE = "samespool"


@contextlib.contextmanager
def disk(folder: Path, size_MiB: int, account: dict[str, Any]) -> Iterator[Path]:
    """A file system in memory of that size, mounted at the folder. Only root may mount."""
    folder.mkdir()
    kind = ["-t", "tmpfs", "-o", f"size={size_MiB}m", "samespool"]
    subprocess.run(["mount", *kind, str(folder)], check=True)
    try:
        if account:
            os.chown(folder, account["user"], account["group"])
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


@contextlib.contextmanager
def full(folder: Path) -> Iterator[None]:
    """Not a byte left on the file system of the folder, until the block ends."""
    ballast = folder / BALLAST
    try:
        with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
            while file.write(b"\0" * 4096):
                pass
        yield
    finally:
        ballast.unlink()


@dataclass
class Server:
    """A server process that is started and stopped again and again on one port."""

    command: list[str]
    options: dict[str, Any]
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    def start(self) -> None:
        """Start it; it may not answer yet."""
        self.process = subprocess.Popen(self.command, start_new_session=True, **self.options)

    def stop(self, by: signal.Signals) -> None:
        """End it, and wait until it has ended."""
        if self.process is not None:
            self.process.send_signal(by)
            try:
                self.process.wait(STOPS_WITHIN_S)
            except subprocess.TimeoutExpired:
                os.killpg(self.process.pid, signal.SIGKILL)
                self.process.wait()
            self.process = None


@dataclass
class PostgreSQL(Server):
    """PostgreSQL with the settings it comes with, so that what it confirms is written."""

    port: int = 0
    host: str = "127.0.0.1"

    def url(self, database: str = DATABASE) -> str:
        """Where a database of this server is."""
        return f"postgresql://samespool@{self.host}:{self.port}/{database}"

    def connect(self, database: str = DATABASE) -> psycopg.Connection[Any]:
        """A connection of the administrator's, each statement for itself."""
        return psycopg.connect(self.url(database), autocommit=True)

    def query(self, statement: str, database: str = DATABASE) -> list[Any]:
        """Run one statement; its rows, where it has any."""
        with self.connect(database) as connection:
            cursor = connection.execute(statement.encode())
            return cursor.fetchall() if cursor.description else []

    def answers(self) -> bool:
        """Whether it takes connections."""
        try:
            self.query("SELECT 1", "postgres")
        except psycopg.Error:
            return False
        return True

    def begin(self) -> None:
        """Start it, and wait until it answers."""
        self.start()
        wait_until(self.answers, "PostgreSQL")


@dataclass
class Redis(Server):
    """Redis that keeps nothing on disk: what it forgets is gone."""

    port: int = 0
    host: str = "127.0.0.1"

    @property
    def url(self) -> str:
        """Where it is."""
        return f"redis://{self.host}:{self.port}/0"

    def client(self) -> redis.Redis:
        """A connection of the administrator's."""
        return redis.Redis.from_url(self.url)

    def answers(self) -> bool:
        """Whether it takes connections."""
        try:
            return bool(self.client().ping())
        except redis.RedisError:
            return False

    def begin(self) -> None:
        """Start it, and wait until it answers."""
        self.start()
        wait_until(self.answers, "Redis")


@contextlib.contextmanager
def postgresql(folder: Path, on: Host | None = None) -> Iterator[PostgreSQL]:
    """PostgreSQL whose files are in the folder, with one empty database; on a host of its own."""
    programs, account, port = postgresql_programs(), unprivileged_account(), free_port()
    log = (folder / "postgresql.log").open("wb")
    options = {**account, "cwd": folder, "stdout": log, "stderr": log}
    make = [str(programs / "initdb"), "--pgdata=data", "--username=samespool", "--no-sync"]
    make += ["--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8"]
    subprocess.run(make, check=True, **options)
    command = [str(programs / "postgres"), "-D", "data", "-p", str(port), "-k", str(folder)]
    command += ["-c", "max_wal_size=64MB"]
    address = "127.0.0.1"
    if on is not None:
        address = on.address
        with (folder / "data" / "pg_hba.conf").open("a") as file:
            file.write("host all all samenet trust\n")
        own = [f"--reuid={account['user']}", f"--regid={account['group']}", "--clear-groups"]
        command = on.inside(["setpriv", *own, *command, "-h", address])
        options = {"cwd": folder, "stdout": log, "stderr": log}
    server = PostgreSQL(command, options, port=port, host=address)
    server.begin()
    try:
        server.query(f"CREATE DATABASE {DATABASE}", "postgres")
        yield server
    finally:
        server.stop(signal.SIGQUIT)


@contextlib.contextmanager
def redis_server(folder: Path, on: Host | None = None) -> Iterator[Redis]:
    """Redis on a port of its own; on a host of its own."""
    port, address = free_port(), on.address if on else "127.0.0.1"
    log = (folder / "redis.log").open("wb")
    command = ["redis-server", "--bind", address, "--port", str(port), "--save", ""]
    command += ["--protected-mode", "no"]
    if on is not None:
        command = on.inside(command)
    options = {"cwd": folder, "stdout": log, "stderr": log}
    server = Redis(command, options, port=port, host=address)
    server.begin()
    try:
        yield server
    finally:
        server.stop(signal.SIGTERM)
