"""The open data: numbered downloads that never change once made."""

from __future__ import annotations

from django.db import models


class Release(models.Model):
    """One download of the public data, requested, then made. The row is also its job.

    ``number`` is its public name, given when it is made. ``pool_versions`` are the pool versions
    in it, ``snapshot`` the id of all of them together, ``files`` what the archive holds: name,
    bytes and SHA-256 of each.
    """

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        MADE = "made"
        FAILED = "failed"

    number = models.PositiveIntegerField(null=True, blank=True, unique=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    attempts = models.PositiveIntegerField(default=0)
    excused = models.PositiveIntegerField(
        default=0, db_default=0, help_text="attempts that lost their connection and don't count"
    )
    lease_expires_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)
    asked_at = models.DateTimeField(auto_now_add=True)
    made_at = models.DateTimeField(null=True, blank=True)
    snapshot = models.CharField(max_length=64, blank=True, db_index=True)
    pool_versions = models.JSONField(default=list)
    rows = models.JSONField(default=dict, help_text="number of rows of each table")
    files = models.JSONField(default=list)
    bytes = models.PositiveBigIntegerField(default=0, help_text="of the archive")
    sha256 = models.CharField(max_length=64, blank=True, help_text="of the archive")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "running", "made", "failed"]),
                name="release_state_is_known",
            ),
            models.CheckConstraint(
                condition=models.Q(state="made", number__isnull=False)
                | ~models.Q(state="made") & models.Q(number__isnull=True),
                name="release_is_numbered_once_made",
            ),
        ]

    def __str__(self) -> str:
        return f"open data, version {self.number}" if self.number else f"open data, {self.state}"


class ReleasePart(models.Model):
    """A piece of a release's archive, so that neither writing nor reading holds all of it."""

    release = models.ForeignKey(Release, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveIntegerField()
    body = models.BinaryField()

    class Meta:
        ordering = ["release_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["release", "number"], name="release_part_is_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.release}, part {self.number}"
