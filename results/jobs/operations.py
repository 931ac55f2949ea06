"""Operational status: work that waits, work that failed, and what screening decided."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, Min, QuerySet
from django.utils import timezone

from results.models import CheckResult, Job, Pool, PullSet, Release, ReviewCase, StalePool, Upload


@dataclass(frozen=True)
class Backlog:
    """Work still to do; ages in seconds, 0 where nothing waits."""

    jobs: dict[str, int]
    oldest_job_s: float
    stale_pools: int
    oldest_mark_s: float
    undrawn_pools: int
    failed_pools: int
    releases: dict[str, int]


@dataclass(frozen=True)
class ScreeningCounts:
    """Uploads and how they were screened: counts of sets by state, and by check and level."""

    uploads: int
    pull_sets: dict[str, int]
    checks: dict[tuple[str, str], int]
    oldest_held_s: float


def backlog() -> Backlog:
    """Jobs and releases by state, pools not computed or not drawn, and the age of the oldest."""
    counts = dict(Job.objects.order_by().values_list("state").annotate(Count("pk")))
    releases = dict(Release.objects.order_by().values_list("state").annotate(Count("pk")))
    unfinished = Job.objects.filter(state__in=[Job.State.QUEUED, Job.State.RUNNING])
    marks = StalePool.objects.aggregate(pools=Count("pool", distinct=True), oldest=Min("marked_at"))
    return Backlog(
        jobs={state: counts.get(state, 0) for state in Job.State.values},
        oldest_job_s=_age_s(unfinished.aggregate(oldest=Min("created_at"))["oldest"]),
        stale_pools=marks["pools"],
        oldest_mark_s=_age_s(marks["oldest"]),
        undrawn_pools=Pool.objects.filter(current__sets__gt=0, current__forest_light="").count(),
        failed_pools=failed_pools().count(),
        releases={state: releases.get(state, 0) for state in Release.State.values},
    )


def screening_counts() -> ScreeningCounts:
    """Counts over the whole database; about a second on a million pulls."""
    states = dict(PullSet.objects.order_by().values_list("state").annotate(Count("pk")))
    tripped = CheckResult.objects.order_by().exclude(level=CheckResult.Level.NONE)
    checks = tripped.values_list("name", "level").annotate(Count("pk"))
    held = ReviewCase.objects.filter(pull_set__state=PullSet.State.HELD)
    return ScreeningCounts(
        uploads=Upload.objects.count(),
        pull_sets={state: states.get(state, 0) for state in PullSet.State.values},
        checks={(name, level): count for name, level, count in checks},
        oldest_held_s=_age_s(held.aggregate(oldest=Min("opened_at"))["oldest"]),
    )


def failed_jobs() -> QuerySet[Job]:
    """Failed jobs, the latest failure first."""
    failed = Job.objects.filter(state=Job.State.FAILED).select_related("session__contributor")
    return failed.order_by("-finished_at")


def failed_pools() -> QuerySet[Pool]:
    """Pools whose latest computation failed, the latest failure first."""
    failed = Pool.objects.filter(failed_at__isnull=False).select_related("connection")
    return failed.order_by("-failed_at")


def last_finished_at() -> datetime | None:
    """When a job last finished, done or failed."""
    latest: datetime | None = Job.objects.aggregate(latest=Max("finished_at"))["latest"]
    return latest


def _age_s(since: datetime | None) -> float:
    return (timezone.now() - since).total_seconds() if since else 0.0
