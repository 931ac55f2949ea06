"""Traces: force over time of single pulls, as a load cell gave them."""

from __future__ import annotations

from django.db import models

from results.models.sessions import Pull
from rigs.models.within import finite

FIGURES = (
    "peak_N",
    "loading_rate_N_per_s",
    "time_to_break_s",
    "zero_before_N",
    "zero_after_N",
    "u_zero_N",
    "missed_peak_N",
    "u_missed_peak_N",
    "noise_excess_N",
    "stiffening",
)


class Trace(models.Model):
    """Force over time of one pull, and what follows from it.

    ``samples`` holds seconds and forces in ``unit``, encoded to the steps that they were written in
    (`results.intake.traces`). Forces of the figures are newtons of reading, before any
    calibration.
    """

    pull = models.OneToOneField(
        Pull, primary_key=True, on_delete=models.CASCADE, related_name="trace"
    )
    samples = models.BinaryField(help_text="seconds and forces, encoded")
    count = models.PositiveIntegerField(help_text="samples of the trace")
    unit = models.CharField(max_length=10)
    step = models.FloatField(help_text="that its forces were written in, in its unit")
    started_at = models.DateTimeField(
        null=True, blank=True, help_text="moment of second 0 by the logger's clock"
    )
    peak_N = models.FloatField(help_text="highest sample")
    loading_rate_N_per_s = models.FloatField(help_text="between a tenth and nine tenths of it")
    time_to_break_s = models.FloatField(help_text="from the beginning of the load to the peak")
    slips = models.JSONField(
        default=list,
        help_text="falls before a higher peak: second, force before and after in newtons",
    )
    hold = models.JSONField(
        null=True,
        help_text="the longest time without a rise: second it began, how long it took, force "
        "before and after in newtons",
    )
    stiffening = models.FloatField(
        null=True, help_text="loading rate of the upper half over that of the lower one"
    )
    zero_before_N = models.FloatField(null=True, help_text="reading without load, before")
    zero_after_N = models.FloatField(null=True, help_text="reading without load, after")
    u_zero_N = models.FloatField(null=True, help_text="standard uncertainty of their mean")
    missed_peak_N = models.FloatField(
        help_text="by how much the highest sample lies below the peak on average"
    )
    u_missed_peak_N = models.FloatField(help_text="standard uncertainty of that")
    noise_excess_N = models.FloatField(help_text="that noise adds to the highest sample")

    class Meta:
        ordering = ["pull_id"]
        constraints = [finite("trace_is_finite", "step", *FIGURES, also=models.Q(step__gt=0))]

    def __str__(self) -> str:
        return f"{self.count} samples of pull {self.pull_id}"
