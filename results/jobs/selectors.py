"""Looking up jobs: how far a session has come, set by set, and how many wait before it."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet

from results.models import Job, Session
from results.models.lifecycle import COUNTING, State


def jobs_in_full() -> QuerySet[Job]:
    """Jobs, the sets of their session counted by how far they are."""
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
    """How many queued jobs were there before this one; None once it is taken up."""
    if job.state != Job.State.QUEUED:
        return None
    # SQLite compares moments as text, where one written to the millisecond comes before itself.
    others = Job.objects.exclude(pk=job.pk)
    return others.filter(state=Job.State.QUEUED, created_at__lt=job.created_at).count()


def is_being_worked_out(session: Session) -> bool:
    """Whether figures of a session's sets are still to come, or may be from before a change."""
    unfinished = session.jobs.filter(state__in=[Job.State.QUEUED, Job.State.RUNNING])
    return unfinished.exclude(step=Job.Step.POOLING).exists()
