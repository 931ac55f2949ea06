"""Shapes of stored series of readings, by which near copies are looked for."""

from __future__ import annotations

from django.db import models

from results.models.sessions import Baseline, PullSet, Session


class SeriesShape(models.Model):
    """What scaling and shuffling leave of the readings of one set or one baseline.

    Least, greatest and middle reading in standard deviations from the mean. ``pulls`` is 0 where
    there are too few, or no scatter.
    """

    session = models.ForeignKey(Session, on_delete=models.CASCADE, related_name="shapes")
    pull_set = models.OneToOneField(
        PullSet, null=True, blank=True, on_delete=models.CASCADE, related_name="shape"
    )
    baseline = models.OneToOneField(
        Baseline, null=True, blank=True, on_delete=models.CASCADE, related_name="shape"
    )
    pulls = models.PositiveIntegerField()
    lowest = models.FloatField()
    highest = models.FloatField()
    middle = models.FloatField()

    class Meta:
        ordering = ["session_id", "id"]
        indexes = [
            models.Index(
                fields=["pulls", "lowest", "highest", "middle"], name="series_shape_by_readings"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pull_set or self.baseline}, {self.pulls} pulls"
