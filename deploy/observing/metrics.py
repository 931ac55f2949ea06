"""Metrics in Prometheus's text format: requests of all processes, backlog and workers.

Every web process counts its requests in files of ``PROMETHEUS_MULTIPROC_DIR``; the one that is
scraped adds them up. Counts from the database are read at each scrape and are the same from every
process and machine. Where the database is away or locked, the rest is answered all the same.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import secrets
import time
from collections.abc import Iterator, Mapping

from django.conf import settings
from django.core.cache import caches
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection, transaction
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector
from redis import RedisError

from deploy.observing import health, workers
from deploy.observing.backups import newest_backup
from results.jobs import operations

LONGEST_WAIT_FOR_A_LOCK_S = 2
SCREENING_COUNTS_CACHED_S = 60
"""Counting the whole database takes longer than a scrape should, so it is done once a minute."""


@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """All metrics, for a scraper that may see them."""
    if not _may_see(request):
        raise PermissionDenied
    operational = CollectorRegistry()
    operational.register(OperationsCollector())
    body = generate_latest(_requests()) + generate_latest(operational)
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST)


class OperationsCollector(Collector):
    """Backlog and screening, from the database, workers, from Redis, and the newest backup."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        state = health.database_state()
        found = list(_of_the_database()) if state is not None else []
        yield _one("database_up", "Whether the database answers and is not locked", bool(found))
        yield from found
        if state is not None and state.lag_s is not None:
            yield _one("replica_lag_seconds", "How far the replica is behind", state.lag_s)
        yield _by("worker_silent_seconds", "Seconds since last seen", ["worker"], _silent())
        yield _by("workers_of_one_name", "Processes of a name", ["worker"], _of_one_name())
        if (written := newest_backup()) is not None:
            yield _one("backup_written_timestamp_seconds", "When the newest was", written)


def _of_the_database() -> Iterator[GaugeMetricFamily]:
    """Counts; none where a lock is held for longer than a scraper waits."""
    with contextlib.suppress(DatabaseError), _patience():
        backlog = operations.backlog()
        screening = caches["kept"].get_or_set(
            "screening_counts", operations.screening_counts, SCREENING_COUNTS_CACHED_S
        )
        assert screening is not None
        yield _by("jobs", "Jobs by state", ["state"], _keyed(backlog.jobs))
        yield _one("oldest_unfinished_job_seconds", "Age of the oldest job", backlog.oldest_job_s)
        yield _one("stale_pools", "Pools that wait to be computed again", backlog.stale_pools)
        yield _one("oldest_stale_mark_seconds", "Age of the oldest mark", backlog.oldest_mark_s)
        yield _one("failed_pools", "Pools whose computation failed", backlog.failed_pools)
        yield _one("undrawn_pools", "Pools that wait to be drawn", backlog.undrawn_pools)
        yield _by("releases", "Open data by state", ["state"], _keyed(backlog.releases))
        yield _one("uploads", "Uploads stored", screening.uploads)
        yield _by("pull_sets", "Pull sets by state", ["state"], _keyed(screening.pull_sets))
        yield _one("oldest_held_seconds", "Age of the oldest held set", screening.oldest_held_s)
        yield _by("checks", "Marks and holds by check", ["check", "level"], screening.checks)


@contextlib.contextmanager
def _patience() -> Iterator[None]:
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(f"SET LOCAL lock_timeout = '{LONGEST_WAIT_FOR_A_LOCK_S}s'")
        yield


def _requests() -> CollectorRegistry:
    if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
        return REGISTRY
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    return registry


def _may_see(request: HttpRequest) -> bool:
    """With the token, or from this machine and not through a proxy on it."""
    token = settings.SAMESPOOL_METRICS_TOKEN
    given = request.headers.get("Authorization", "")
    if token and secrets.compare_digest(given.encode(), f"Bearer {token}".encode()):
        return True
    if any(name in request.headers for name in ("X-Forwarded-For", "Forwarded")):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


def _silent() -> dict[tuple[str, ...], float]:
    """Seconds since each worker and the sweeper were last seen; none if Redis is unreachable."""
    try:
        seen = workers.seen()
    except RedisError:
        return {}
    return {(name,): time.time() - at.timestamp() for name, at in seen.items()}


def _of_one_name() -> dict[tuple[str, ...], float]:
    try:
        return {(name,): count for name, count in workers.of_one_name().items()}
    except RedisError:
        return {}


def _keyed(counts: dict[str, int]) -> dict[tuple[str, ...], int]:
    return {(name,): count for name, count in counts.items()}


def _one(name: str, description: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"samespool_{name}", description, value=value)


def _by(
    name: str, description: str, labels: list[str], counts: Mapping[tuple[str, ...], float]
) -> GaugeMetricFamily:
    family = GaugeMetricFamily(f"samespool_{name}", description, labels=labels)
    for values, count in counts.items():
        family.add_metric(values, count)
    return family
