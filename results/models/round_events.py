"""What happened in a round that everyone may read, in its order."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from results.models.rounds import Round


class RoundEvent(models.Model):
    """That a round was opened or closed, its last day moved, or a version of its report made.

    ``results_by`` is the last day for results from then on, ``was`` the one before it where it was
    moved, and ``version`` the number of the report's version.
    """

    class What(models.TextChoices):
        OPENED = "opened"
        MOVED = "last day moved"
        CLOSED = "closed"
        REPORTED = "reported"

    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="events")
    what = models.CharField(max_length=20, choices=What.choices)
    at = models.DateTimeField(default=timezone.now)
    results_by = models.DateField(null=True, blank=True)
    was = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(what="opened", results_by__isnull=False, was=None, version=None)
                | Q(what="last day moved", results_by__gt=models.F("was"), version=None)
                | Q(what="closed", results_by=None, was=None, version=None)
                | Q(what="reported", results_by=None, was=None, version__isnull=False),
                name="round_event_says_what_it_is",
            ),
        ]

    def __str__(self) -> str:
        return f"round {self.round_id}: {self.what}"
