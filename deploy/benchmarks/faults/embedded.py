"""The embedded service: power cuts at each step of its work and between, and a full disk.

One web process on SQLite, in a folder that is a file system in memory of its own. A cut is a
kill -9 of all its processes at a statement of the draining thread (``embedded_web``); the process
is started again at once. The disk is filled to the last byte of that file system.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from deploy.benchmarks.faults.bench import Ground, people, world
from deploy.benchmarks.faults.cutting import FULL_S, under_load
from deploy.benchmarks.faults.senders import HANDLES
from deploy.benchmarks.faults.servers import disk, full
from deploy.benchmarks.faults.service import (
    LEASE_S,
    SWEEP_S,
    UNFINISHED,
    Kept,
    answers_at,
    copy_program,
)
from deploy.tools.processes import free_port, wait_until

DISK_MIB = 48
ATTEMPTS = "SELECT coalesce(max(attempts), 0), count(*) FILTER (WHERE state = 'failed') FROM {}"
FINISHING = 'UPDATE "results_job" SET "state" = .*"step" = .*"lease_expires_at" = .*"finished_at"'


@dataclass(frozen=True)
class Cut:
    """Where the power is cut: before or after the statement that a pattern fits."""

    name: str
    pattern: str
    before: bool = False


STEPS = (
    Cut("before the claim", 'UPDATE "results_job" SET .*"started_at"', before=True),
    Cut("claimed", 'UPDATE "results_job" SET .*"started_at"'),
    Cut("normalised, not written", 'UPDATE "results_job" SET "step"', before=True),
    Cut("writing figures", 'INSERT INTO "results_normalisedset"'),
    Cut("between normalising and screening", 'FROM "results_screening"', before=True),
    Cut("screening", 'INSERT INTO "results_screening"'),
    Cut("writing the checks", 'INSERT INTO "results_checkresult"'),
    Cut("marking pools", 'INSERT INTO "results_stalepool"'),
    Cut("between screening and pooling", 'UPDATE "results_pool" SET "failures"', before=True),
    Cut("an attempt at a pool counted", 'UPDATE "results_pool" SET "failures"'),
    Cut("writing a version", 'INSERT INTO "results_poolversion"'),
    Cut("writing its sets", 'INSERT INTO "results_poolmembership"'),
    Cut("taking marks away", 'DELETE FROM "results_stalepool"'),
    Cut("between pooling and finishing", FINISHING, before=True),
    Cut("finished", FINISHING),
    Cut("not drawn", 'UPDATE "results_poolversion" SET "forest_light"', before=True),
    Cut("drawn", 'UPDATE "results_poolversion" SET "forest_light"'),
    Cut("comparing", '(INSERT INTO|UPDATE) "results_directcomparison"'),
)


@dataclass
class Embedded:
    """The web process, started again whenever it ends."""

    environment: dict[str, str]
    folder: Path
    release: Path
    port: int = field(default_factory=free_port)

    def __post_init__(self) -> None:
        serve = [str(Path(sys.executable).parent / "granian"), "--interface", "wsgi"]
        serve += ["--host", "127.0.0.1", "--port", str(self.port), "--workers", "1"]
        serve += ["--blocking-threads", "8", "deploy.benchmarks.faults.embedded_web:application"]
        self.web = Kept(serve, self.environment, self.folder / "embedded.log", self.release)
        self.cut = Path(self.environment["SAMESPOOL_CUT"])

    @property
    def address(self) -> str:
        """Where the web process listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self.web.start()
        wait_until(self.answers, "The embedded service")

    def stop(self) -> None:
        """End it in order."""
        self.web.stop()

    def answers(self) -> bool:
        """Whether an answer comes that is not a failure."""
        return answers_at(self.address)

    def query(self, statement: str) -> tuple[int, ...]:
        """One row from its database."""
        file = f"file:{self.environment['SAMESPOOL_VAR']}/samespool.sqlite3?mode=ro"
        with contextlib.closing(sqlite3.connect(file, uri=True, timeout=60)) as reader:
            return tuple(reader.execute(statement).fetchone())

    def wait_until_done(self, timeout_s: float = 1800.0) -> float:
        """Seconds until there is nothing left to do; gives up after that long."""
        begun = time.monotonic()
        while self.query(UNFINISHED)[0] and time.monotonic() - begun < timeout_s:
            time.sleep(0.1)
        return time.monotonic() - begun


@contextlib.contextmanager
def embedded(folder: Path, repeats: int, random_state: int) -> Iterator[Ground]:
    """The embedded service on a disk of its own."""
    folder.mkdir()
    with (
        disk(folder / "var", DISK_MIB, {}) as files,
        embedded_in(folder, files, repeats, random_state) as made,
    ):
        yield made


@contextlib.contextmanager
def embedded_in(folder: Path, files: Path, repeats: int, random_state: int) -> Iterator[Ground]:
    """The embedded service with a world laid and four testers signed in."""
    environment = {
        "DATABASE_URL": "",
        "REDIS_URL": "",
        "SAMESPOOL_VAR": str(files),
        "SAMESPOOL_CUT": str(folder / "cut.json"),
        "SAMESPOOL_SWEEP_SECONDS": str(SWEEP_S),
        "SAMESPOOL_LEASE_SECONDS": str(LEASE_S),
        "SAMESPOOL_REQUESTS_A_MINUTE": "100000",
        "OMP_NUM_THREADS": "1",
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }
    service = Embedded(environment, folder, copy_program(folder / "program"))
    rng = np.random.default_rng(random_state)
    made = Ground(service=service, files=files, folder=folder, repeats=repeats, rng=rng)
    people(made)
    try:
        service.start()
        world(made)
        yield made
    finally:
        service.stop()


def cut_at(steps: tuple[Cut, ...], ground: Ground) -> None:
    """Cut the power at one step after another, each in the work on a session of its own."""
    for number in range(ground.repeats):
        for place, step in enumerate(steps):
            ground.service.cut.write_text(
                json.dumps({"pattern": step.pattern, "before": step.before})
            )
            ground.senders.one(HANDLES[(number + place) % len(HANDLES)])
            wait_until(lambda: not ground.service.cut.exists(), f"The cut '{step.name}'")
            ground.strike()
            wait_until(ground.service.answers, f"The service after '{step.name}'")
    ground.repaired()
    ground.service.wait_until_done()
    ground.note = f"{', '.join(step.name for step in steps)}; {_attempts(ground)}"


def disk_full(ground: Ground) -> None:
    """The file system of the database full, up to the last byte, while sessions come in."""
    with under_load(ground) as go_on:
        for _ in range(ground.repeats):
            with full(ground.files):
                ground.strike()
                time.sleep(2 * FULL_S)
            go_on()
    ground.note = f"tmpfs of {DISK_MIB} MiB, full for {2 * FULL_S:.0f} s; {_attempts(ground)}"


def _attempts(ground: Ground) -> str:
    most, failed = ground.service.query(ATTEMPTS.format("results_job"))
    return f"at most {most} attempts counted, {failed} jobs failed"


FAULTS: dict[str, Callable[[Ground], None]] = {
    "embedded: killed at each step": partial(cut_at, STEPS),
    "embedded: disk full": disk_full,
}
