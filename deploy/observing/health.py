"""Liveness and readiness probes. Each part answers in bounded time."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import psycopg
import structlog
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from redis import RedisError

from deploy.observing.queue import redis_client

log = structlog.get_logger(__name__)

TIMEOUT_S = 2
"""How long a server may take to answer before it counts as unreachable."""

MAX_REPLICA_LAG_S = 10
"""How far a read replica may lag before it counts as not ready."""
REPLICATION_STATE = """
    SELECT pg_is_in_recovery(),
           EXISTS (SELECT FROM pg_stat_wal_receiver),
           CASE WHEN pg_last_wal_receive_lsn() = pg_last_wal_replay_lsn() THEN 0
                ELSE extract(epoch FROM clock_timestamp() - pg_last_xact_replay_timestamp())
           END
"""


def live(_request: HttpRequest) -> HttpResponse:
    """Liveness: 200 as long as the process answers at all; touches nothing else."""
    return JsonResponse({"live": True})


@never_cache
def ready(request: HttpRequest) -> HttpResponse:
    """Readiness: 200 if every part works, 503 if one doesn't; ``parts`` says which, and why.

    With ``?for=reading``, for a process that serves readers from a replica, the database may be
    read-only. With ``?for=requests`` it says to the proxy only whether this process takes requests:
    what all processes depend on is no reason to send them elsewhere. One that is stopping
    is not ready for anything.
    """
    if settings.SAMESPOOL_DRAINING and Path(settings.SAMESPOOL_DRAINING).exists():
        return JsonResponse({"ready": False, "parts": {"requests": "stopping"}}, status=503)
    if request.GET.get("for") == "requests":
        return JsonResponse({"ready": True, "parts": {"requests": "ok"}})
    parts = {name: _outcome(check) for name, check in PARTS.items()}
    of_database = {"migrations": _migrations}
    if request.GET.get("for") != "reading":
        of_database["writing"] = _writing
    for name, check in of_database.items():
        reachable = parts["database"] == "ok"
        parts[name] = _outcome(check) if reachable else "not checked: no database"
    all_ok = all(outcome == "ok" for outcome in parts.values())
    if not all_ok:
        log.warning("not ready: answered 503", parts=parts)
    return JsonResponse({"ready": all_ok, "parts": parts}, status=200 if all_ok else 503)


def unapplied_migrations() -> list[str]:
    """Names of the migrations in this code that the database lacks."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def _outcome(check: Callable[[], str]) -> str:
    """``ok``, or what is wrong; strangers can read it, so an error is named by its class alone."""
    try:
        return check()
    except (DatabaseError, psycopg.Error, RedisError, OSError) as error:
        return f"does not answer ({type(error).__name__})"


def _database() -> str:
    """By its own connection: a connection pool waits longer for a dead server than a probe may."""
    if not settings.EMBEDDED:
        with _probe() as probe:
            row = probe.execute(REPLICATION_STATE).fetchone()
            return _replication(*row) if row else "does not answer"
    return "ok"


@dataclass(frozen=True)
class DatabaseState:
    """That the database answers; ``lag_s`` is how far it is behind its primary, if a replica."""

    lag_s: float | None


def database_state() -> DatabaseState | None:
    """How the database stands; None where it does not answer within two seconds."""
    if settings.EMBEDDED:
        return DatabaseState(None)
    try:
        with _probe() as probe:
            row = probe.execute(REPLICATION_STATE).fetchone()
    except (psycopg.Error, OSError):
        return None
    replica, _receives, lag_s = row or (False, False, None)
    return DatabaseState(float(lag_s or 0) if replica else None)


def _probe() -> psycopg.Connection:
    return psycopg.connect(
        settings.DATABASE_URL,
        connect_timeout=TIMEOUT_S,
        options=f"-c statement_timeout={TIMEOUT_S * 1000}",
    )


def _writing() -> str:
    """A former primary, or a server its operator made read-only, still answers readers."""
    if not settings.EMBEDDED:
        with _probe() as probe:
            if probe.execute("SHOW transaction_read_only").fetchone() == ("on",):
                return "the database is read-only"
    return "ok"


def _replication(replica: bool, receives: bool, lag_s: float | None) -> str:
    """``ok`` for a primary or for a replica that keeps up with it."""
    if replica and not receives:
        return "a replica that is not connected to its primary"
    if replica and (lag_s or 0) > MAX_REPLICA_LAG_S:
        return f"a replica {lag_s:.0f} s behind its primary"
    return "ok"


def _migrations() -> str:
    if missing := unapplied_migrations():
        return f"not applied: {', '.join(missing)}"
    return "ok"


def _queue() -> str:
    if not settings.EMBEDDED:
        with redis_client(TIMEOUT_S) as server:
            server.ping()
    return "ok"


def _files() -> str:
    """Synced to disk: a full disk may create a file but fail to write it."""
    with tempfile.TemporaryFile(dir=settings.VAR_DIR) as probe:
        probe.write(b"\0" * 4096)
        probe.flush()
        os.fsync(probe.fileno())
    return "ok"


PARTS = {"database": _database, "queue": _queue, "files": _files}
