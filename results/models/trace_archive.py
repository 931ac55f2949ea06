"""The archive of traces: a file a month, and which trace is in which."""

from __future__ import annotations

from django.db import models

from results.models.traces import Trace


class TraceMonth(models.Model):
    """The file of a month: traces that were public when it was written and in none before.

    It is written once. Where traces in it are withdrawn, they are taken out, which is another
    ``edition`` of it; ``taken_out`` lists the numbers of their pulls.
    """

    month = models.DateField(unique=True, help_text="first day of the month")
    edition = models.PositiveIntegerField(default=1)
    written_at = models.DateTimeField(help_text="when this edition was written")
    traces = models.PositiveIntegerField()
    samples = models.PositiveBigIntegerField(help_text="of all traces in it")
    taken_out = models.JSONField(default=list, help_text="pulls whose traces were taken out")
    bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["month"]

    def __str__(self) -> str:
        return f"traces of {self.month:%Y-%m}"


class TraceMonthPart(models.Model):
    """A piece of a month's file, so that neither writing nor reading holds all of it."""

    month = models.ForeignKey(TraceMonth, on_delete=models.CASCADE, related_name="parts")
    edition = models.PositiveIntegerField()
    number = models.PositiveIntegerField()
    body = models.BinaryField()

    class Meta:
        ordering = ["month_id", "edition", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["month", "edition", "number"], name="trace_month_part_is_unique"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month}, part {self.number}"


class ArchivedTrace(models.Model):
    """Which month's file a trace is in: a trace is archived once."""

    trace = models.OneToOneField(
        Trace, primary_key=True, on_delete=models.CASCADE, related_name="archived"
    )
    month = models.ForeignKey(TraceMonth, on_delete=models.CASCADE, related_name="archived")

    class Meta:
        ordering = ["trace_id"]

    def __str__(self) -> str:
        return f"pull {self.trace_id} in {self.month_id}"
