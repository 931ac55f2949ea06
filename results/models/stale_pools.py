"""Marks on pools whose sets have changed since they were computed."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Now


class StalePool(models.Model):
    """A mark that a pool no longer says what its sets say: inserted, and deleted.

    ``takes_down``: a set that counts was withdrawn, rejected or held, so that there is no public
    figure while the mark stands. ``woken_at`` is when the last message was sent.
    """

    pool = models.ForeignKey("Pool", on_delete=models.CASCADE, related_name="stale_marks")
    why = models.CharField(max_length=300)
    takes_down = models.BooleanField(default=False, db_default=False)
    marked_at = models.DateTimeField(db_default=Now(), editable=False)
    woken_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.pool}: {self.why}"
