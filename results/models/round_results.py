"""What became of a round: the sets that were pulled in it, and its reports."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from results.models.rounds import Round, RoundSpecimen
from results.models.sessions import PullSet
from rigs.models import Contributor


class RoundSet(models.Model):
    """That a set was pulled in a round, of the specimen of this code.

    ``tied_by`` is who tied it for everybody; None where its tester tied it, as their own hands.
    """

    pull_set = models.OneToOneField(PullSet, on_delete=models.PROTECT, related_name="in_round")
    specimen = models.ForeignKey(RoundSpecimen, on_delete=models.PROTECT, related_name="sets")
    tied_by = models.ForeignKey(
        Contributor,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
    )

    class Meta:
        ordering = ["pull_set_id"]

    def __str__(self) -> str:
        return f"set {self.pull_set_id} of a round"

    @property
    def round_id(self) -> int:
        return self.specimen.sample.round_id

    @property
    def tied_centrally(self) -> bool:
        """Whether one hand tied it for everybody, so that it shows no hands of its tester."""
        return self.specimen.sample.is_hidden


class RoundReport(models.Model):
    """One version of what a closed round came to. The row is also its job.

    ``sets`` are the ids of the sets that it was computed from, ``report`` its figures, ``changes``
    what made it differ from the version before, and ``held_at`` when the figures were last found
    to be what they would be now.
    """

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        MADE = "made"
        FAILED = "failed"

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="reports")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    attempts = models.PositiveIntegerField(default=0)
    excused = models.PositiveIntegerField(
        default=0, db_default=0, help_text="attempts that lost their connection and don't count"
    )
    lease_expires_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)
    asked_at = models.DateTimeField(auto_now_add=True)
    made_at = models.DateTimeField(null=True, blank=True)
    formulae = models.PositiveIntegerField(null=True, blank=True)
    sets = models.JSONField(default=list)
    report = models.JSONField(null=True, blank=True)
    changes = models.JSONField(default=list, db_default=[])
    held_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["round_id", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["round", "number"], name="round_report_has_its_number"),
            models.CheckConstraint(
                condition=Q(state__in=["queued", "running", "made", "failed"]),
                name="round_report_state_is_known",
            ),
            models.CheckConstraint(
                condition=Q(state="made", report__isnull=False, made_at__isnull=False)
                | ~Q(state="made") & Q(report__isnull=True, made_at__isnull=True),
                name="round_report_is_there_once_made",
            ),
            models.CheckConstraint(
                condition=Q(formulae__isnull=False) | ~Q(state="made"),
                name="round_report_names_its_formulae",
            ),
        ]

    def __str__(self) -> str:
        return f"report {self.number} of round {self.round_id}"
