"""The service on seven hosts: two web, two workers, database, queue and proxy; links are cut."""

from __future__ import annotations

import contextlib
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from deploy.benchmarks.faults.bench import Ground, environment_of, people, world
from deploy.benchmarks.faults.cutting import slowest, under_load
from deploy.benchmarks.faults.hosts import Host, hosts
from deploy.benchmarks.faults.servers import PostgreSQL, postgresql, redis_server
from deploy.benchmarks.faults.service import (
    UNFINISHED,
    Kept,
    answers_at,
    copy_program,
)
from deploy.tools.processes import wait_until
from deploy.tools.throwaway import unprivileged_account

PORT = 8000
CUT_S = 40.0
"""Longer than it takes the database to give up who is gone, and the proxy to notice."""


@dataclass
class Spread:
    """The service's processes, each kept on a host of its own."""

    database: PostgreSQL
    environment: dict[str, str]
    folder: Path
    release: Path
    proxy: Host
    webs: tuple[Host, Host]
    workers: tuple[Host, Host]
    kept: list[Kept] = field(default_factory=list)

    @property
    def address(self) -> str:
        """Where the proxy listens."""
        return f"http://{self.proxy.address}:{PORT}"

    def start(self) -> None:
        """Start all, and wait until the proxy has an answer."""
        celery = [str(Path(sys.executable).parent / "celery"), "-A", "deploy"]
        for host in self.workers:
            named = ["--hostname", f"celery@{host.name}"]
            self._keep(host, [*celery, "worker", "--concurrency", "2", *named])
        # The scheduler is on a host whose link is never cut: there is one of it.
        self._keep(self.proxy, [*celery, "beat"], "scheduler")
        web = [sys.executable, "-m", "deploy.web", "--host", "0.0.0.0", "--port", str(PORT)]
        for host in self.webs:
            self._keep(host, web, SAMESPOOL_DATABASE_POOL="true")
        self._keep(self.proxy, self._proxying(), "proxy")
        wait_until(lambda: answers_at(self.address), "The proxy")

    def _keep(self, host: Host, command: list[str], name: str = "", **more: str) -> None:
        name = name or host.name
        files = self.folder / f"files of {name}"
        files.mkdir()
        environment = {**self.environment, "SAMESPOOL_VAR": str(files), **more}
        log = self.folder / f"{name}.log"
        self.kept.append(Kept(host.inside(command), environment, log, self.release))
        self.kept[-1].start()

    def _proxying(self) -> list[str]:
        """Caddy with the file that ships, without TLS."""
        program = shutil.which("caddy")
        assert program, "caddy is missing: it is a package of Debian's"
        shipped = (self.release / "deploy" / "Caddyfile").read_text()
        version = subprocess.run([program, "version"], check=True, capture_output=True, text=True)
        if re.match("v?2.6.2", version.stdout):  # as operations.md says of Debian 12
            shipped = shipped.replace("request_buffers 12MB", "buffer_requests")
        file = self.folder / "Caddyfile"
        file.write_text("{\n\tadmin off\n\tauto_https off\n}\n" + shipped)
        upstreams = " ".join(f"{host.address}:{PORT}" for host in self.webs)
        own = [f"SAMESPOOL_DOMAIN={self.address}", f"SAMESPOOL_UPSTREAMS={upstreams}"]
        run = [program, "run", "--adapter", "caddyfile", "--config", str(file)]
        return ["env", f"HOME={self.folder}", *own, *run]

    def stop(self) -> None:
        """End all, the last one first."""
        for unit in reversed(self.kept):
            unit.stop()

    def wait_until_done(self, timeout_s: float = 1800.0) -> float:
        """Seconds until there is nothing left to do; gives up after that long."""
        begun = time.monotonic()
        while self.database.query(UNFINISHED)[0][0] and time.monotonic() - begun < timeout_s:
            time.sleep(0.1)
        return time.monotonic() - begun


@contextlib.contextmanager
def several(folder: Path, repeats: int, random_state: int) -> Iterator[Ground]:
    """Seven hosts, with a world laid and four testers signed in."""
    folder.mkdir()
    folder.chmod(0o755)
    on_database = folder / "database"
    on_database.mkdir()
    account = unprivileged_account()
    if account:
        shutil.chown(on_database, account["user"], account["group"])
    names = ("database", "queue", "proxy", "web-one", "web-two", "worker-one", "worker-two")
    with (
        hosts(*names) as (on, queues, proxy, *others),
        postgresql(on_database, on) as database,
        redis_server(folder, queues) as queue,
    ):
        environment = environment_of(database.url(), queue.url, folder)
        environment["SAMESPOOL_HOSTS"] = ",".join(host.address for host in (proxy, *others))
        service = Spread(
            database=database,
            environment=environment,
            folder=folder,
            release=copy_program(folder / "program"),
            proxy=proxy,
            webs=(others[0], others[1]),
            workers=(others[2], others[3]),
        )
        made = Ground(
            service=service,
            files=folder,
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
            service.stop()


def links_cut(ground: Ground) -> None:
    """Those of one web host and one worker host, then of the others, while sessions come in."""
    spread: Spread = ground.service
    with under_load(ground) as go_on:
        for _ in range(ground.repeats):
            for pair in zip(spread.webs, spread.workers, strict=True):
                for host in pair:
                    host.cut()
                ground.strike()
                time.sleep(CUT_S)
                go_on()
                for host in pair:
                    host.join()
                go_on()
    ground.note = f"each cut for {CUT_S:.0f} s and longer; {slowest(ground)}"


FAULTS: dict[str, Callable[[Ground], None]] = {
    "several hosts: links of a web and a worker cut": links_cut,
}
