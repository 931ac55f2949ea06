"""What the service depends on, taken away: Redis, PostgreSQL, its connections, its disk."""

from __future__ import annotations

import contextlib
import signal
import time
from collections.abc import Callable, Iterator
from functools import partial

import psycopg

from deploy.benchmarks.faults.bench import Bench, Ground
from deploy.benchmarks.faults.servers import BALLAST, full
from deploy.tools.processes import wait_until

GONE_S = 60.0
HUNG_S = 15.0
FULL_S = 8.0
CUT = """
    SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
    WHERE datname = current_database() AND pid <> pg_backend_pid()
"""


@contextlib.contextmanager
def under_load(bench: Ground) -> Iterator[Callable[[], None]]:
    """Sessions come in before, while and after; yields what waits for four more to be accepted."""
    with bench.senders.at_work() as accepted:

        def go_on() -> None:
            wanted = accepted() + 4
            wait_until(lambda: accepted() >= wanted, "Four more sessions", 120)

        go_on()
        yield go_on
        bench.repaired()
        go_on()


def redis_flushed(bench: Bench) -> None:
    """Every message lost, again and again."""
    with under_load(bench) as go_on:
        for _ in range(3 * bench.repeats):
            bench.queue.client().flushall()
            bench.strike()
            go_on()


def redis_restarted(bench: Bench) -> None:
    """Killed and started again, with nothing of what it held."""
    with under_load(bench) as go_on:
        for _ in range(bench.repeats):
            bench.queue.stop(signal.SIGKILL)
            bench.queue.begin()
            bench.strike()
            go_on()


def redis_gone(bench: Bench) -> None:
    """Away for a minute, while sessions come in."""
    with under_load(bench):
        bench.queue.stop(signal.SIGTERM)
        bench.strike()
        time.sleep(GONE_S)
        bench.queue.begin()
    bench.note = f"gone for {GONE_S:.0f} s; {slowest(bench)}"


def redis_hung(bench: Bench) -> None:
    """Takes connections and answers nothing."""
    with under_load(bench):
        server = bench.queue.process
        assert server is not None
        server.send_signal(signal.SIGSTOP)
        bench.strike()
        time.sleep(HUNG_S)
        server.send_signal(signal.SIGCONT)
    bench.note = f"hung for {HUNG_S:.0f} s; {slowest(bench)}"


def connections_cut(bench: Bench) -> None:
    """Every connection of the service ended, again and again."""
    cut = 0
    with under_load(bench) as go_on:
        for _ in range(4 * bench.repeats):
            cut += bench.database.query(CUT)[0][0]
            bench.strike()
            time.sleep(float(bench.rng.uniform(0.2, 1.0)))
        go_on()
    bench.note = f"{cut} connections"


def postgresql_ended(by: signal.Signals, bench: Bench) -> None:
    """Stopped or killed, and started again while sessions come in."""
    with under_load(bench) as go_on:
        for _ in range(bench.repeats):
            bench.database.stop(by)
            bench.strike()
            time.sleep(2)
            bench.database.begin()
            go_on()


def database_full(bench: Bench) -> None:
    """The disk of the database full, up to the last byte."""
    with under_load(bench) as go_on:
        for _ in range(bench.repeats):
            with full(bench.database.options["cwd"]):
                bench.strike()
                _let_write(bench)
            _until_it_answers(bench)
            go_on()


def _let_write(bench: Bench) -> None:
    """Time for the write-ahead log to come to its end, when the server ends or refuses."""
    last_moment = time.monotonic() + FULL_S
    while time.monotonic() < last_moment:
        time.sleep(0.5)
        with contextlib.suppress(psycopg.Error):
            bench.database.query("SELECT 1")


def _until_it_answers(bench: Bench) -> None:
    """A server that ended for want of space is started again, as its keeper would."""
    if bench.database.process is None or bench.database.process.poll() is not None:
        bench.note = "PostgreSQL ended itself and was started again"
        bench.database.begin()
    wait_until(bench.database.answers, "PostgreSQL", 60)


def files_full(bench: Bench) -> None:
    """The disk of SAMESPOOL_VAR full: nothing of a session is kept there, but the sweeper's times.

    Worker and scheduler are ended meanwhile, so that they must start on a full disk.
    """
    with under_load(bench) as go_on:
        for _ in range(bench.repeats):
            with full(bench.files):
                bench.service.worker.kill()
                bench.service.scheduler.kill()
                bench.strike()
                bench.queue.client().flushall()
                go_on()
                time.sleep(FULL_S)
    bench.note = _files(bench)


def _files(bench: Bench) -> str:
    left = sorted(path.name for path in bench.files.iterdir() if path.name != BALLAST)
    return f"files there: {', '.join(left) or 'none'}"


def slowest(ground: Ground) -> str:
    """How long the slowest upload took until it was accepted."""
    longest = max(sending.took_s for sending in ground.senders.sent)
    return f"slowest upload {longest:.1f} s"


FAULTS: dict[str, Callable[[Bench], None]] = {
    "Redis flushed": redis_flushed,
    "Redis killed and restarted": redis_restarted,
    "Redis gone for a minute": redis_gone,
    "Redis hung": redis_hung,
    "connections to PostgreSQL cut": connections_cut,
    "PostgreSQL restarted": partial(postgresql_ended, signal.SIGINT),
    "PostgreSQL connections cut": partial(postgresql_ended, signal.SIGQUIT),
    "disk full: database": database_full,
    "disk full: files": files_full,
}
