"""Every change of a pull set's state: who, when and why, kept for good."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from results.models.sessions import PullSet


class StateChange(models.Model):
    """One step of a pull set from one state to the next; ``by`` is empty for the service itself."""

    pull_set = models.ForeignKey(PullSet, on_delete=models.PROTECT, related_name="state_changes")
    from_state = models.CharField(max_length=12, choices=PullSet.State.choices)
    to_state = models.CharField(max_length=12, choices=PullSet.State.choices)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="state_changes",
    )
    reason = models.TextField(blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pull_set_id", "id"]

    def __str__(self) -> str:
        return f"{self.from_state} to {self.to_state}"
