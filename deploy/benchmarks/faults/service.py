"""The service as it is deployed: web, worker and scheduler, each started again when it ends."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from deploy.benchmarks.faults.servers import PostgreSQL
from deploy.tools.processes import STOPS_WITHIN_S, free_port, wait_until

PROGRAM = Path(__file__).parents[3]
CODE = ("api", "deploy", "results", "rigs", "manage.py")
SWEEP_S, LEASE_S = 1.0, 5.0
"""Far shorter than those of a real service, so that recovery can be watched."""
STARTS_WITHIN_S = 120.0
UNFINISHED = """
    SELECT (SELECT count(*) FROM results_job WHERE state IN ('queued', 'running'))
         + (SELECT count(*) FROM results_stalepool JOIN results_pool ON results_pool.id = pool_id
            WHERE failures < 5)
"""


def copy_program(to: Path) -> Path:
    """A copy of the program that can't change while it runs."""
    to.mkdir()
    for name in CODE:
        copy = shutil.copytree if (PROGRAM / name).is_dir() else shutil.copy2
        copy(PROGRAM / name, to / name)
    return to


def answers_at(address: str) -> bool:
    """Whether the service there gives an answer that is not a failure."""
    ask = ["curl", "--silent", "--noproxy", "*", "--fail", "--max-time", "5"]
    ask += ["--output", "/dev/null", f"{address}/api/v1/connections"]
    return subprocess.run(ask, check=False).returncode == 0


@dataclass
class Kept:
    """A process that is started again whenever it ends by itself, as systemd would."""

    command: list[str]
    environment: Mapping[str, str]
    log: Path
    program: Path
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)
    _left: threading.Event = field(default_factory=threading.Event, init=False)
    _keeper: threading.Thread | None = field(default=None, init=False)

    def start(self) -> None:
        """Start it, and keep it from here on."""
        self._left.clear()
        self._begin()
        self._keeper = threading.Thread(target=self._keep, daemon=True)
        self._keeper.start()

    def stop(self, by: signal.Signals = signal.SIGTERM, timeout_s: float = STOPS_WITHIN_S) -> None:
        """End it for good: in order where it can, together with its children in any case."""
        self._left.set()
        if self._keeper is not None:
            self._keeper.join()
        if self.process is not None:
            self.process.send_signal(by)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(timeout_s)
            self.kill()

    def send_signal(self, what: signal.Signals) -> None:
        """Send it and its children a signal."""
        if self.process is not None:
            os.killpg(self.process.pid, what)

    def kill(self) -> None:
        """End it and its children as a power cut would; the keeper starts it again."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    def children(self) -> list[int]:
        """Its children's process ids."""
        if self.process is None:
            return []
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        return [int(pid) for pid in children.read_text().split()]

    def _begin(self) -> None:
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                self.command,
                env={**os.environ, **self.environment},
                cwd=self.program,
                stdout=out,
                stderr=out,
                start_new_session=True,
            )

    def _keep(self) -> None:
        while not self._left.wait(0.2):
            if self.process is not None and self.process.poll() is not None:
                self.kill()
                self._begin()


@dataclass
class Service:
    """Its three units on one PostgreSQL and one Redis; ``release`` is the code that they run."""

    database: PostgreSQL
    environment: dict[str, str]
    folder: Path
    release: Path
    extra: dict[str, str] = field(default_factory=dict)
    port: int = field(default_factory=free_port)

    def __post_init__(self) -> None:
        programs = Path(sys.executable).parent
        environment = {**self.environment, **self.extra}
        serve = [str(programs / "granian"), "--interface", "wsgi", "--host", "127.0.0.1"]
        serve += ["--port", str(self.port), "--workers", "2", "--blocking-threads", "8"]
        self.web = Kept(
            [*serve, "deploy.wsgi:application"],
            {**environment, "SAMESPOOL_DATABASE_POOL": "true"},
            self.folder / "web.log",
            self.release,
        )
        celery = [str(programs / "celery"), "-A", "deploy"]
        work = [*celery, "worker", "--concurrency", "2", "--loglevel", "INFO"]
        beat = [*celery, "beat", "--loglevel", "INFO"]
        self.worker = Kept(work, environment, self.folder / "worker.log", self.release)
        self.scheduler = Kept(beat, environment, self.folder / "scheduler.log", self.release)

    @property
    def address(self) -> str:
        """Where the web process listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start all, and wait until the web process answers."""
        self.scheduler.start()
        self.worker.start()
        self.web.start()
        wait_until(self.answers, "The web process", STARTS_WITHIN_S)

    def stop(self) -> None:
        """End all in order."""
        for unit in (self.web, self.scheduler, self.worker):
            unit.stop()

    def answers(self) -> bool:
        """Whether an answer comes that is not a failure."""
        return answers_at(self.address)

    def is_done(self) -> bool:
        """Whether every job is finished and no pool waits to be computed."""
        return not self.database.query(UNFINISHED)[0][0]

    def wait_until_done(self, timeout_s: float = 1800.0) -> float:
        """Seconds until there is nothing left to do; gives up after that long."""
        begun = time.monotonic()
        while not self.is_done() and time.monotonic() - begun < timeout_s:
            time.sleep(0.1)
        return time.monotonic() - begun
