"""Metrics in the text format of Prometheus: requests of all processes, and how the work stands.

Every web process counts its requests in files of ``PROMETHEUS_MULTIPROC_DIR``, and whichever is
asked adds them up. What stands in the database is read when asked, and is the same from every
process and machine.
"""

from __future__ import annotations

import ipaddress
import os
import secrets
import time
from collections.abc import Iterator, Mapping

from django.conf import settings
from django.core.cache import caches
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector
from redis import RedisError

from deploy.observing import workers
from results.jobs import operations

OUTCOMES_KEPT_S = 60
"""Counting the whole store takes longer than a scrape should, so it is done once a minute."""


@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """Everything that is measured, for a scraper that may see it."""
    if not _may_see(request):
        raise PermissionDenied
    standing = CollectorRegistry()
    standing.register(Standing())
    body = generate_latest(_requests()) + generate_latest(standing)
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST)


class Standing(Collector):
    """How the work stands, from the database, and who works, from Redis."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        waiting = operations.waiting()
        outcomes = caches["kept"].get_or_set("outcomes", operations.outcomes, OUTCOMES_KEPT_S)
        assert outcomes is not None
        yield _by("jobs", "Jobs by state", ["state"], _keyed(waiting.jobs))
        yield _one("oldest_unfinished_job_seconds", "Age of the oldest job", waiting.oldest_job_s)
        yield _one("stale_pools", "Pools that wait to be computed again", waiting.stale_pools)
        yield _one("oldest_stale_mark_seconds", "Age of the oldest mark", waiting.oldest_mark_s)
        yield _one("failed_pools", "Pools whose computation failed", waiting.failed_pools)
        yield _one("undrawn_pools", "Pools that wait to be drawn", waiting.undrawn_pools)
        yield _by("releases", "Open data by state", ["state"], _keyed(waiting.releases))
        yield _one("uploads", "Uploads stored", outcomes.uploads)
        yield _by("pull_sets", "Pull sets by state", ["state"], _keyed(outcomes.pull_sets))
        yield _by("checks", "Marks and holds by check", ["check", "level"], outcomes.checks)
        yield _by("worker_silent_seconds", "Since the last sign of each", ["worker"], _silent())


def _requests() -> CollectorRegistry:
    if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
        return REGISTRY
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    return registry


def _may_see(request: HttpRequest) -> bool:
    """Whoever has the token, or asks from this machine and not through a proxy on it."""
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
    """Seconds since each worker and the sweeper told of themselves; none where Redis is gone."""
    try:
        seen = workers.seen()
    except RedisError:
        return {}
    return {(name,): time.time() - at.timestamp() for name, at in seen.items()}


def _keyed(counts: dict[str, int]) -> dict[tuple[str, ...], int]:
    return {(name,): count for name, count in counts.items()}


def _one(name: str, told: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"samespool_{name}", told, value=value)


def _by(
    name: str, told: str, labels: list[str], counts: Mapping[tuple[str, ...], float]
) -> GaugeMetricFamily:
    family = GaugeMetricFamily(f"samespool_{name}", told, labels=labels)
    for values, count in counts.items():
        family.add_metric(values, count)
    return family
