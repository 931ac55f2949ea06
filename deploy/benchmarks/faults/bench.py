"""The test bed of the faults: servers, service and testers, and the audit after each."""

from __future__ import annotations

import contextlib
import json
import math
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from deploy.benchmarks.faults.senders import HANDLES, PASSWORD, Senders, lay_world
from deploy.benchmarks.faults.servers import (
    PostgreSQL,
    Redis,
    disk,
    postgresql,
    redis_server,
)
from deploy.benchmarks.faults.service import LEASE_S, SWEEP_S, Service, copy_program
from deploy.benchmarks.faults.table import Audit, ResultRow
from deploy.demo.client import Client
from deploy.tools.throwaway import unprivileged_account

ACCOUNTS = """
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from rigs.models import Contributor
for handle in {handles!r}:
    user = get_user_model().objects.create_user(handle, password={password!r})
    Contributor.objects.create(user=user, handle=handle)
    user.groups.add(Group.objects.get_or_create(name="moderators")[0])
"""
DATABASE_MIB, FILES_MIB = 1024, 32
DRAWN_WITHIN_S = 600.0


@dataclass(kw_only=True)
class Ground:
    """A service, its testers and the audit; ``senders`` are new for each fault."""

    service: Any
    files: Path
    folder: Path
    repeats: int
    rng: np.random.Generator
    tokens: dict[str, str] = field(default_factory=dict)
    senders: Senders = field(init=False)
    struck: int = field(default=0, init=False)
    note: str = field(default="", init=False)
    repaired_at: float = field(default=0.0, init=False)
    newest_version: int = field(default=0, init=False)

    def run(self, name: str, fault: Callable[[Any], None]) -> ResultRow:
        """Let one fault strike, wait until nothing is left to do, and audit."""
        self.senders = Senders(self.service.address, self.tokens, self.rng)
        self.struck, self.note, self.repaired_at = 0, "", 0.0
        try:
            fault(self)
        except (RuntimeError, TimeoutError) as error:
            self.note = f"FAILED: {error}"
        self.service.wait_until_done()
        recovery = time.monotonic() - self.repaired_at if self.repaired_at else math.nan
        answers = ", ".join(f"{number} x {what}" for what, number in self.senders.refusals.items())
        return ResultRow(name, self.struck, answers, self._audit_once_drawn(), recovery, self.note)

    def strike(self) -> None:
        """Count one more time that the fault struck."""
        self.struck += 1

    def repaired(self) -> None:
        """The fault is over; from here on the recovery counts."""
        self.repaired_at = time.monotonic()

    def manage(self, *arguments: str, release: Path | None = None) -> None:
        """Run a management command of a release on the service's database."""
        command = [sys.executable, "manage.py", *arguments]
        environment = {**os.environ, **self.service.environment}
        subprocess.run(command, check=True, env=environment, cwd=release or self.service.release)

    def _audit_once_drawn(self) -> Audit:
        """What no upload waits for, drawings and comparisons, may take longer on a busy machine."""
        last_moment = time.monotonic() + DRAWN_WITHIN_S
        found = self._audit()
        while found.unfinished and time.monotonic() < last_moment:
            time.sleep(5)
            found = self._audit()
        return found

    def _audit(self) -> Audit:
        ledger = self.folder / "ledger.json"
        ledger.write_text(json.dumps(self.senders.ledger()))
        command = [sys.executable, "-m", "deploy.benchmarks.faults.audit", str(ledger)]
        answer = subprocess.run(
            [*command, str(self.newest_version)],
            check=True,
            capture_output=True,
            text=True,
            cwd=self.service.release,
            env={**os.environ, **self.service.environment},
        )
        found = Audit(**json.loads(answer.stdout.splitlines()[-1]))
        self.newest_version = max(self.newest_version, found.newest_version)
        return found


@dataclass(kw_only=True)
class Bench(Ground):
    """Everything a fault may break where the service is deployed in full."""

    database: PostgreSQL
    queue: Redis


def people(ground: Ground) -> None:
    """Make the testers' accounts, before the service runs."""
    ground.manage("migrate", "--verbosity=0")
    accounts = ACCOUNTS.format(handles=HANDLES, password=PASSWORD)
    ground.manage("shell", "--no-imports", "--command", accounts)


def world(ground: Ground) -> None:
    """Lay the testers' rigs and lines, and sign them in."""
    lay_world(ground.service.address)
    ground.tokens = {
        handle: Client(ground.service.address, handle, PASSWORD).token for handle in HANDLES
    }


def environment_of(database: str, queue: str, files: Path) -> dict[str, str]:
    """What all processes of the service are given, with these servers."""
    return {
        "DATABASE_URL": database,
        "REDIS_URL": queue,
        "SAMESPOOL_VAR": str(files),
        "SAMESPOOL_SECRET_KEY": "only-for-this-benchmark-which-no-one-else-can-reach-at-all",
        "SAMESPOOL_SWEEP_SECONDS": str(SWEEP_S),
        "SAMESPOOL_LEASE_SECONDS": str(LEASE_S),
        "SAMESPOOL_REQUESTS_A_MINUTE": "100000",
        "SAMESPOOL_TWO_FACTOR": "false",
        "OMP_NUM_THREADS": "1",
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }


@contextlib.contextmanager
def bench(folder: Path, repeats: int, random_state: int) -> Iterator[Bench]:
    """All of it on disks of its own, with a world laid and four testers signed in."""
    with (
        disk(folder / "database", DATABASE_MIB, unprivileged_account()) as on_database,
        disk(folder / "files", FILES_MIB, {}) as files,
        postgresql(on_database) as database,
        redis_server(folder) as queue,
    ):
        environment = environment_of(database.url(), queue.url, files)
        os.environ |= environment
        service = Service(database, environment, folder, copy_program(folder / "program"))
        made = Bench(
            database=database,
            queue=queue,
            service=service,
            files=files,
            folder=folder,
            repeats=repeats,
            rng=np.random.default_rng(random_state),
        )
        people(made)
        try:
            service.start()
            world(made)
            yield made
        finally:
            made.service.stop()
