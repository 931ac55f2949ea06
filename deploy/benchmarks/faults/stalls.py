"""Stopping the service at one step of its work, from outside: by a trigger in its database.

The trigger waits for an advisory lock that the benchmark holds, so that the process that reaches
that step stands still there until the lock is given up. The product knows nothing of it.
"""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass

import psycopg

from deploy.benchmarks.faults.servers import PostgreSQL
from deploy.tools.processes import wait_until

LOCK = 4711
STALLS_WITHIN_S = 120.0
STALL = f"""
    CREATE OR REPLACE FUNCTION bench_stall() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN PERFORM pg_advisory_xact_lock_shared({LOCK}); RETURN NEW; END $$
"""
REFUSE = """
    CREATE OR REPLACE FUNCTION bench_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION 'poison of the benchmark'; END $$
"""
IS_WET = """
    CREATE OR REPLACE FUNCTION bench_wet(bigint) RETURNS boolean LANGUAGE sql AS
    $$ SELECT wet FROM results_pool WHERE id = $1 $$
"""
WAITING = f"""
    SELECT pid, client_port FROM pg_stat_activity JOIN pg_locks USING (pid)
    WHERE locktype = 'advisory' AND objid = {LOCK} AND NOT granted
"""


@dataclass(frozen=True)
class Step:
    """A step of a job: which write it is that shall stand still, and before what."""

    name: str
    table: str
    event: str
    condition: str = "true"
    at_commit: bool = False


PHASES = {
    "claiming a job": (
        Step("at the claim", "results_job", "UPDATE", "NEW.state = 'running' AND OLD.attempts = 0"),
        Step("at its commit", "results_job", "UPDATE", "NEW.step = 'normalising'", True),
    ),
    "normalising": (
        Step("computed, not written", "results_job", "UPDATE", "NEW.step = 'screening'"),
        Step("writing figures", "results_normalisedset", "INSERT"),
        Step("at the commit", "results_normalisedset", "INSERT", "true", True),
    ),
    "screening": (
        Step("screened, not written", "results_job", "UPDATE", "NEW.step = 'pooling'"),
        Step("writing the checks", "results_checkresult", "INSERT"),
        Step("marking pools", "results_stalepool", "INSERT"),
        Step("at the commit", "results_stalepool", "INSERT", "true", True),
    ),
    "pooling": (
        Step("computed, not written", "results_poolversion", "INSERT"),
        Step("writing its sets", "results_poolmembership", "INSERT"),
        Step("at the commit", "results_poolversion", "INSERT", "true", True),
    ),
    "after pooling": (
        Step("not drawn", "results_poolversion", "UPDATE", "NEW.forest_light <> ''"),
        Step("not compared", "results_directcomparison", "INSERT OR UPDATE"),
        Step("not finished", "results_job", "UPDATE", "NEW.state = 'done'"),
    ),
}


@contextmanager
def trigger(database: PostgreSQL, step: Step, function: str) -> Iterator[None]:
    """The trigger of a step, until the block ends. Changing triggers waits for open writes."""
    when = f"FOR EACH ROW WHEN ({step.condition}) EXECUTE FUNCTION {function}()"
    kind = "CREATE TRIGGER bench BEFORE"
    if step.at_commit:
        kind = "CREATE CONSTRAINT TRIGGER bench AFTER"
        when = f"DEFERRABLE INITIALLY DEFERRED {when}"
    database.query(STALL)
    database.query(REFUSE)
    database.query(IS_WET)
    database.query(f"{kind} {step.event} ON {step.table} {when}")
    try:
        yield
    finally:
        database.query(f"DROP TRIGGER bench ON {step.table}")


@contextmanager
def stalled(database: PostgreSQL, step: Step) -> Iterator[None]:
    """A process that reaches the step waits there until the block ends."""
    with trigger(database, step, "bench_stall"), database.connect() as holder:
        holder.execute(f"SELECT pg_advisory_lock({LOCK})".encode())
        yield


def refused(database: PostgreSQL, step: Step) -> AbstractContextManager[None]:
    """A process that reaches the step gets a database error, until the block ends."""
    return trigger(database, step, "bench_refuse")


def standing(database: PostgreSQL) -> list[tuple[int, int]]:
    """Who stands still now: server process id and client port of each."""
    return database.query(WAITING)


def wait_for_stall(database: PostgreSQL, step: Step) -> list[tuple[int, int]]:
    """Wait until someone stands still; who does."""
    wait_until(lambda: bool(standing(database)), f"A stall {step.name}", STALLS_WITHIN_S)
    return standing(database)


def kill_stalled(waiting: list[tuple[int, int]]) -> int:
    """Kill -9 exactly the processes whose connections stand still; returns how many."""
    pids = {pid for _, port in waiting for pid in _owners(port)}
    for pid in pids:
        os.kill(pid, signal.SIGKILL)
    return len(pids)


def forget(database: PostgreSQL, waiting: list[tuple[int, int]]) -> None:
    """End the server's side of connections whose other side is dead."""
    for server_pid, _ in waiting:
        try:
            database.query(f"SELECT pg_terminate_backend({server_pid})")
        except psycopg.Error:
            continue


def _owners(port: int) -> list[int]:
    """Process ids that hold the near end of a connection from that port."""
    ask = ["ss", "--no-header", "--tcp", "--numeric", "--processes", f"sport = :{port}"]
    answer = subprocess.run(ask, check=True, capture_output=True, text=True).stdout
    return [int(part.split(",")[0]) for part in answer.split("pid=")[1:]]
