"""Jobs: the row is the truth, a message on the queue only a hint."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models.functions import Now

from results.models.sessions import Session


class Job(models.Model):
    """The work one upload asks for, and how far it has come."""

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    class Step(models.TextChoices):
        WAITING = "waiting"
        NORMALISING = "normalising"
        SCREENING = "screening"
        POOLING = "pooling"
        FINISHED = "finished"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    step = models.CharField(max_length=12, choices=Step.choices, default=Step.WAITING)
    attempts = models.PositiveIntegerField(default=0)
    excused = models.PositiveIntegerField(
        default=0, db_default=0, help_text="attempts that lost their connection and don't count"
    )
    lease_expires_at = models.DateTimeField(null=True, blank=True)
    problem = models.JSONField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    woken_at = models.DateTimeField(db_default=Now(), editable=False)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]
        indexes = [
            models.Index(
                fields=["created_at"],
                condition=models.Q(state__in=["queued", "running"]),
                name="job_still_to_do",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "running", "done", "failed"]),
                name="job_state_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.id} ({self.state})"
