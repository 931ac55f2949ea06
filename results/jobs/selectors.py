"""Look up jobs: a session's progress, set by set, and its place in the queue."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet

from results.models import Job, Session
from results.models.lifecycle import COUNTING, State


def jobs_with_counts() -> QuerySet[Job]:
    """Jobs, each with its session's sets counted by state."""
    return Job.objects.annotate(
        sets=Count("session__pull_sets"),
        normalised=Count("session__pull_sets__normalised"),
        counting=Count("session__pull_sets", filter=Q(session__pull_sets__state__in=COUNTING)),
        held=Count("session__pull_sets", filter=Q(session__pull_sets__state=State.HELD)),
        without_figure=Count(
            "session__pull_sets", filter=~Q(session__pull_sets__not_normalised="")
        ),
    )


def jobs_ahead(job: Job) -> int | None:
    """How many jobs are queued before this one; None once it has been claimed."""
    if job.state != Job.State.QUEUED:
        return None
    # SQLite compares times as text, and one stored to the millisecond sorts before itself.
    others = Job.objects.exclude(pk=job.pk)
    return others.filter(state=Job.State.QUEUED, created_at__lt=job.created_at).count()


def is_being_processed(session: Session) -> bool:
    """Whether figures of a session's sets are still missing, or may predate a change."""
    unfinished = session.jobs.filter(state__in=[Job.State.QUEUED, Job.State.RUNNING])
    return unfinished.exclude(step=Job.Step.POOLING).exists()
