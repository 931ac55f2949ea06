"""Calibrations: a rig's readings under known forces."""

from __future__ import annotations

from django.db import models

from rigs.metrology import bounds
from rigs.models.rigs import RigRevision
from rigs.models.within import all_within, finite


class Calibration(models.Model):
    """The line of reading on force of one revision, fitted once from its check weights.

    ``reading = offset_N + gain * force`` (JCGM 100:2008, H.3), readings taken in newtons
    at the scale's own word. Its values never change: a correction is a new one, which replaces it.
    """

    class Standing(models.TextChoices):
        CURRENT = "current"
        REPLACED = "replaced"
        VOIDED = "voided"

    revision = models.ForeignKey(RigRevision, on_delete=models.PROTECT, related_name="calibrations")
    made_on = models.DateField()
    note = models.TextField(blank=True)
    standing = models.CharField(
        max_length=10, choices=Standing.choices, default=Standing.CURRENT, db_default="current"
    )
    local_gravity = models.FloatField(help_text="m/s2")
    gain = models.FloatField()
    offset_N = models.FloatField()
    u_gain = models.FloatField()
    u_offset_N = models.FloatField()
    correlation = models.FloatField()
    residual_sd_N = models.FloatField()
    degrees_of_freedom = models.PositiveIntegerField()
    lowest_N = models.FloatField()
    highest_N = models.FloatField()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["revision_id", "made_on", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(gain__gt=0), name="calibration_gain_is_positive"
            ),
            all_within("calibration_is_within_bounds", {}, day="made_on"),
            finite(
                "calibration_is_finite",
                *("local_gravity", "gain", "offset_N", "u_gain", "u_offset_N", "correlation"),
                *("residual_sd_N", "lowest_N", "highest_N"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.revision} on {self.made_on:%Y-%m-%d}"


class CalibrationReading(models.Model):
    """One check weight hung on the rig, and what the rig read."""

    class HowKnown(models.TextChoices):
        CERTIFIED = "certified"
        BOUGHT = "bought as"
        WEIGHED = "weighed on a kitchen scale"
        WATER = "water by volume"
        COINS = "coins or plates"

    class Direction(models.TextChoices):
        RISING = "rising"
        FALLING = "falling"

    calibration = models.ForeignKey(Calibration, on_delete=models.CASCADE, related_name="readings")
    number = models.PositiveIntegerField()
    mass_kg = models.FloatField()
    mass_written = models.CharField(max_length=40)
    volume_m3 = models.FloatField(null=True, blank=True, help_text="of water by volume")
    temperature_C = models.FloatField(null=True, blank=True, help_text="of the water")
    tolerance_written = models.CharField(max_length=40, blank=True, db_default="")
    u_mass_kg = models.FloatField(null=True, blank=True)
    how_known = models.CharField(max_length=40, choices=HowKnown.choices)
    direction = models.CharField(max_length=10, choices=Direction.choices, default=Direction.RISING)
    force_N = models.FloatField()
    reading_N = models.FloatField()
    reading_written = models.CharField(max_length=40)

    class Meta:
        ordering = ["calibration_id", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["calibration", "number"], name="calibration_reading_number_is_unique"
            ),
            models.CheckConstraint(
                condition=models.Q(mass_kg__gte=0), name="calibration_mass_is_not_negative"
            ),
            all_within(
                "calibration_reading_is_within_bounds",
                {
                    "mass_kg": bounds.MASS_kg,
                    "volume_m3": bounds.WATER_m3,
                    "temperature_C": bounds.WATER_TEMPERATURE_C,
                    "reading_N": bounds.CALIBRATION_READING_N,
                },
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mass_written} read {self.reading_written}"
