"""What became of a calibration or a revision that was entered wrongly: kept for good."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from rigs.models.calibrations import Calibration
from rigs.models.rigs import RigRevision


class CalibrationChange(models.Model):
    """How a calibration ended: corrected by a successor, or voided where there is none."""

    calibration = models.OneToOneField(
        Calibration, primary_key=True, on_delete=models.PROTECT, related_name="change"
    )
    successor = models.OneToOneField(
        Calibration, null=True, blank=True, on_delete=models.PROTECT, related_name="corrects"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["calibration_id"]

    def __str__(self) -> str:
        what = f"corrected by {self.successor_id}" if self.successor_id else "voided"
        return f"calibration {self.calibration_id}, {what}"


class RevisionChange(models.Model):
    """How a version of a revision ended: corrected in place, or voided.

    ``was`` holds the columns as they were, but for where the rig stood, which is not kept.
    ``resolution_N`` is the one of them that figures rest on.
    """

    revision = models.ForeignKey(RigRevision, on_delete=models.PROTECT, related_name="changes")
    version = models.PositiveIntegerField()
    voided = models.BooleanField(default=False)
    was = models.JSONField(default=dict, blank=True)
    resolution_N = models.FloatField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["revision_id", "version"]
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "version"], name="version_of_revision_ends_once"
            ),
        ]

    def __str__(self) -> str:
        what = "voided" if self.voided else f"version {self.version} corrected"
        return f"revision {self.revision_id}, {what}"
