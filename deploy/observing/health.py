"""Whether the process lives, and whether it can do its work. Each part answers in bounded time."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable

import psycopg
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from redis import RedisError

from deploy.observing.queue import impatient

PATIENCE_S = 2
"""How long a server may take to answer before it counts as gone."""

BEHIND_AT_MOST_S = 10
"""How far a read replica may lag before it is no longer asked."""
BEHIND = """
    SELECT pg_is_in_recovery(),
           EXISTS (SELECT FROM pg_stat_wal_receiver),
           CASE WHEN pg_last_wal_receive_lsn() = pg_last_wal_replay_lsn() THEN 0
                ELSE extract(epoch FROM clock_timestamp() - pg_last_xact_replay_timestamp())
           END
"""


def live(_request: HttpRequest) -> HttpResponse:
    """200 as long as the process answers at all; touches nothing else."""
    return JsonResponse({"live": True})


@never_cache
def ready(request: HttpRequest) -> HttpResponse:
    """200 where every part can do its work, 503 where one can't; ``parts`` says which, and why.

    Asked ``?for=reading``, as of a process that serves readers from a replica, it need not be able
    to write.
    """
    parts = {name: _told(check) for name, check in PARTS.items()}
    asked = {"migrations": _migrations}
    if request.GET.get("for") != "reading":
        asked["writing"] = _writing
    for name, check in asked.items():
        there = parts["database"] == "ok"
        parts[name] = _told(check) if there else "not asked, for want of the database"
    fine = all(told == "ok" for told in parts.values())
    return JsonResponse({"ready": fine, "parts": parts}, status=200 if fine else 503)


def unapplied_migrations() -> list[str]:
    """Names of the migrations that this code has and the database has not had."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def _told(check: Callable[[], str]) -> str:
    """``ok``, or what is amiss; a stranger reads it, so a failure is told by its kind alone."""
    try:
        return check()
    except (DatabaseError, psycopg.Error, RedisError, OSError) as error:
        return f"does not answer ({type(error).__name__})"


def _database() -> str:
    """A connection of its own: a pool waits longer for a server that is gone than a probe may."""
    if not settings.EMBEDDED:
        with _probe() as probe:
            told = probe.execute(BEHIND).fetchone()
            return _standing(*told) if told else "does not answer"
    return "ok"


def _probe() -> psycopg.Connection:
    return psycopg.connect(
        settings.DATABASE_URL,
        connect_timeout=PATIENCE_S,
        options=f"-c statement_timeout={PATIENCE_S * 1000}",
    )


def _writing() -> str:
    """A server that was failed over from, or that its operator closed, still answers readers."""
    if not settings.EMBEDDED:
        with _probe() as probe:
            if probe.execute("SHOW transaction_read_only").fetchone() == ("on",):
                return "the database is read-only"
    return "ok"


def _standing(replica: bool, receives: bool, behind_s: float | None) -> str:
    """How a server stands to the one that is written to, which it may be itself."""
    if replica and not receives:
        return "a replica that hears nothing of its primary"
    if replica and (behind_s or 0) > BEHIND_AT_MOST_S:
        return f"a replica {behind_s:.0f} s behind its primary"
    return "ok"


def _migrations() -> str:
    if missing := unapplied_migrations():
        return f"not applied: {', '.join(missing)}"
    return "ok"


def _queue() -> str:
    if not settings.EMBEDDED:
        with impatient(PATIENCE_S) as server:
            server.ping()
    return "ok"


def _files() -> str:
    """Written through to the disk: a full one may take the name of a file and not its bytes."""
    with tempfile.TemporaryFile(dir=settings.VAR_DIR) as probe:
        probe.write(b"\0" * 4096)
        probe.flush()
        os.fsync(probe.fileno())
    return "ok"


PARTS = {"database": _database, "queue": _queue, "files": _files}
