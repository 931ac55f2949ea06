"""How fast the service answers and pools on a large store: `deploy/bench serve`.

Makes a store of the scenario (``--scale 1`` is a million pulls) on a PostgreSQL of its own, then
measures on one server in one run: reading beside an empty view, uploads until their pools are
fresh, every pool computed again from the raw pulls, and the plans of the hottest queries. The
clients share the machine with the server, so its requests a second are those of one core.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import django
import numpy as np
import requests
from celery import current_app
from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.db import connection

from deploy.benchmarks.serve_beside import Answers, answering, print_side_by_side
from deploy.benchmarks.serve_reading import print_reading, print_shared_cache
from deploy.tools import throwaway
from deploy.tools.processes import exit_on_sigterm, free_port, running, wait_until

PROCESSES = 2
PASSWORD = "only-for-this-benchmark"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def main() -> None:
    """Make the store, measure, and print a table of each."""
    exit_on_sigterm()
    options = _options()
    if len(options.scale) > 1:
        makers = [(scale, partial(made, scale)) for scale in options.scale]
        print_side_by_side(makers, options.uploads)
        return
    with _migrated():
        measure(options)


@contextmanager
def made(scale: float) -> Iterator[Answers]:
    """A store of its own that answers uploads and readings."""
    from deploy.benchmarks.large_store.making import make  # noqa: PLC0415, models are ready now

    with _migrated():
        print(f"A store at scale {scale:g}", flush=True)
        make(scale)
        with _serving() as port, _working(), answering(f"http://127.0.0.1:{port}") as answers:
            yield answers


@contextmanager
def _migrated() -> Iterator[None]:
    """Servers of this process's own, with tables."""
    with throwaway.postgresql() as database, throwaway.redis() as queue:
        os.environ |= ONE_THREAD | {
            "DATABASE_URL": database,
            "REDIS_URL": queue,
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "SAMESPOOL_SECRET_KEY": "only-for-this-benchmark-which-no-one-else-can-reach-at-all",
            "SAMESPOOL_REQUESTS_A_MINUTE": "1000000",
        }
        django.setup()
        call_command("migrate", verbosity=0)
        yield


def measure(options: argparse.Namespace) -> None:
    """On the migrated database of the settings, all but what ``without`` names."""
    from deploy.benchmarks.large_store.making import make  # noqa: PLC0415, models are ready now
    from deploy.benchmarks.large_store.plans import explained  # noqa: PLC0415
    from deploy.benchmarks.large_store.uploads import upload_all  # noqa: PLC0415

    if "make" not in options.without:
        [scale] = options.scale
        print(f"A store at scale {scale:g}", flush=True)
        make(scale)
    with _serving() as port, _working():
        if "serve" not in options.without:
            print_reading(port, options.seconds)
        if "share" not in options.without:
            print_shared_cache(port, options.seconds)
        if "upload" not in options.without:
            _print_uploads(upload_all(f"http://127.0.0.1:{port}", options.uploads))
    if "recompute" not in options.without:
        _recompute()
    if "plans" not in options.without:
        for purpose, plan in explained():
            print(f"\n{purpose}\n{plan}", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench serve", description=__doc__)
    scale = "1 is a million pulls; with several, uploads and readings alone are compared, in turn"
    parser.add_argument("--scale", type=float, nargs="+", default=[0.02], help=scale)
    parser.add_argument("--seconds", type=float, default=4.0, help="of each, in five rounds")
    parser.add_argument("--uploads", type=int, default=40, help="sessions of five sets")
    parts = ("serve", "share", "upload", "recompute", "plans")
    parser.add_argument("--without", nargs="*", default=[], choices=parts, help="parts left out")
    return parser.parse_args()


def _print_uploads(taken: dict[str, list[float]]) -> None:
    print("\nUploads of a session of five sets, one after the other: seconds\n")
    print(f"{'until':24}{'median':>9}{'90 %':>9}{'slowest':>9}")
    for what, seconds in taken.items():
        late = float(np.percentile(seconds, 90))
        print(f"{what:24}{statistics.median(seconds):>9.3f}{late:>9.3f}{max(seconds):>9.3f}")


def _recompute() -> None:
    """Every pool from its raw pulls, by two processes, compared with what is stored."""
    from results.models import Pool  # noqa: PLC0415

    snapshots = list(
        Pool.objects.filter(current__isnull=False)
        .order_by("-current__sets")
        .values_list("current__snapshot", flat=True)
    )
    # A connection that two processes share would mix their answers up.
    connection.close()
    begun = time.perf_counter()
    # Processes of their own, so that what making the store has taken is not counted with theirs.
    spawning = get_context("spawn")
    with ProcessPoolExecutor(PROCESSES, spawning, initializer=django.setup) as workers:
        found = list(workers.map(_recomputed, snapshots))
    took = time.perf_counter() - begun
    used = {one.process: (one.peak_MiB, one.cpu_s) for one in found}
    print(
        f"\nComputed again from raw pulls: {len(found)} pools in {took:.1f} s by {PROCESSES} "
        f"processes, {sum(one.different for one in found)} figures differ; peak "
        f"{' + '.join(f'{peak:.0f}' for peak, _ in used.values())} MiB, processor time "
        f"{' + '.join(f'{cpu:.1f}' for _, cpu in used.values())} s beside the database's",
        flush=True,
    )


@dataclass(frozen=True)
class _Recomputed:
    """How many figures of a pool differ; the process, and what it has used until then."""

    process: int
    peak_MiB: float
    cpu_s: float
    different: int


def _recomputed(snapshot: str) -> _Recomputed:
    from results.pools.reproduce import recompute  # noqa: PLC0415

    different = sum(len(each.differences) for each in recompute(snapshot))
    return _Recomputed(os.getpid(), _peak_MiB(), time.process_time(), different)


def _peak_MiB() -> float:
    """Peak RSS of this process, from /proc: getrusage includes its parent's peak."""
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


@contextmanager
def _serving() -> Iterator[int]:
    """One server process of four threads with the empty view; its port."""
    port = free_port()
    command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1"]
    command += ["--port", str(port), "--workers", "1", "--blocking-threads", "4"]
    command += ["--backlog", "1024", "--factory", "deploy.benchmarks.serve:application"]
    environment = os.environ | {"SAMESPOOL_DATABASE_POOL": "true"}
    with (
        tempfile.TemporaryFile() as log,
        running(command, stdout=log, stderr=log, env=environment),
    ):
        wait_until(lambda: _answers(port), "The server", 120)
        yield port


def _answers(port: int) -> bool:
    try:
        return requests.get(f"http://127.0.0.1:{port}/empty", timeout=5).ok
    except requests.RequestException:
        return False


@contextmanager
def _working() -> Iterator[None]:
    """Two worker processes for what uploads wait for and one for the rest, as deployed."""
    celery = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--loglevel", "WARNING"]
    first = [*celery, "--queues", "celery", "--concurrency", str(PROCESSES), "-n", "first@%h"]
    later = ["chrt", "--idle", "0", *celery, "--queues", "later", "-c", "1", "-n", "later@%h"]
    with (
        tempfile.TemporaryFile() as log,
        running(first, stdout=log, stderr=log),
        running(later, stdout=log, stderr=log),
    ):
        wait_until(lambda: len(current_app.control.ping(timeout=1)) == 2, "The workers", 120)
        yield


def application() -> WSGIHandler:
    """The service with the empty view beside it, for the server."""
    settings.ROOT_URLCONF = "deploy.benchmarks.serve_peers"
    return get_wsgi_application()


if __name__ == "__main__":
    main()
