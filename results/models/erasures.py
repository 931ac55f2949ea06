"""The audit of what was erased: who, when, why and which rows, never the text."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from rigs.models import Contributor


class Erasure(models.Model):
    """One erasing; ``columns`` has by column the runs of row numbers, as [first, last]."""

    account = models.ForeignKey(
        Contributor, null=True, blank=True, on_delete=models.PROTECT, related_name="erasures"
    )
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="erasures"
    )
    at = models.DateTimeField(auto_now_add=True)
    reason = models.TextField()
    columns = models.JSONField(default=dict)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{len(self.columns)} columns, {self.at:%Y-%m-%d}"
