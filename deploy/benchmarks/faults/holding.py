"""A database that is reachable and refuses to work: a lock is held, or it is read-only."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import requests

from deploy.benchmarks.faults.bench import Bench
from deploy.benchmarks.faults.cutting import under_load

HELD_S = 30.0
"""Longer than anyone waits for a lock, and than a lease."""
READ_ONLY_S = 30.0
MOST_ATTEMPTS = "SELECT coalesce(max(attempts), 0) FROM results_job"
FAILED = "SELECT count(*) FROM results_job WHERE state = 'failed'"


def lock_held(table: str, bench: Bench) -> None:
    """Someone locks a table that every job writes to, and forgets it, while sessions come in."""
    with under_load(bench):
        for _ in range(bench.repeats):
            with bench.database.connect() as holder, holder.transaction():
                holder.execute(f"LOCK TABLE {table} IN EXCLUSIVE MODE".encode())
                bench.strike()
                time.sleep(HELD_S)
    bench.note = f"{table} held for {HELD_S:.0f} s; {_attempts(bench)}"


def read_only(bench: Bench) -> None:
    """Closed to writing, as a server that was failed over from, and opened again."""
    answer = []
    with under_load(bench):
        for _ in range(bench.repeats):
            bench.database.query("ALTER SYSTEM SET default_transaction_read_only = on")
            bench.database.query("SELECT pg_reload_conf()")
            bench.strike()
            time.sleep(READ_ONLY_S)
            answer += [_status(bench, path) for path in ("readyz", "healthz", "api/v1/pools")]
            bench.database.query("ALTER SYSTEM RESET default_transaction_read_only")
            bench.database.query("SELECT pg_reload_conf()")
    statuses = ", ".join(answer)
    bench.note = f"for {READ_ONLY_S:.0f} s: {statuses}; {_attempts(bench)}"


def _status(bench: Bench, path: str) -> str:
    with requests.Session() as http:
        http.trust_env = False
        answer = http.get(f"{bench.service.address}/{path}", timeout=60)
    return f"/{path} {answer.status_code}"


def _attempts(bench: Bench) -> str:
    most, failed = bench.database.query(MOST_ATTEMPTS)[0][0], bench.database.query(FAILED)[0][0]
    return f"at most {most} attempts counted, {failed} jobs failed"


FAULTS: dict[str, Callable[[Bench], None]] = {
    "lock held: figures of sets": partial(lock_held, "results_normalisedset"),
    "lock held: versions of pools": partial(lock_held, "results_poolversion"),
    "database read-only": read_only,
}
