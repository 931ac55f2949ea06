"""Reports: a reader or tester says that a set or a name should be looked at."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from rigs.models import Contributor


class Report(models.Model):
    """What somebody says of a set or a name; moderators alone read the text.

    ``reporter`` is empty for a reader without an account. ``reporter_key`` distinguishes one
    reporter from another while the report is open, and is emptied when it is closed.
    """

    class Subject(models.TextChoices):
        PULL_SET = "pull-set"
        POOL = "pool"
        CONNECTION = "connection"
        LINE = "line"
        RIG = "rig"
        CONTRIBUTOR = "contributor"

    subject_kind = models.CharField(max_length=12, choices=Subject.choices)
    subject_id = models.PositiveBigIntegerField()
    reporter = models.ForeignKey(
        Contributor, null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    reporter_key = models.CharField(max_length=80, blank=True)
    text = models.TextField()
    at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["subject_kind", "subject_id", "reporter_key"],
                condition=models.Q(closed_at__isnull=True),
                name="report_is_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_id}"
