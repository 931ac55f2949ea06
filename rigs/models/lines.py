"""Lines: the products that are joined and pulled."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from rigs.metrology import bounds
from rigs.models.contributors import Contributor
from rigs.models.within import within


class Material(models.TextChoices):
    """What a line is made of; part of the key of every pool."""

    NYLON = "nylon monofilament"
    COPOLYMER = "copolymer"
    FLUOROCARBON = "fluorocarbon"
    BRAIDED_POLYETHYLENE = "braided polyethylene"
    FUSED_POLYETHYLENE = "fused polyethylene"
    BRAIDED_POLYESTER = "braided polyester"
    WIRE = "knottable wire trace"
    OTHER = "other"


class Line(models.Model):
    """A line as sold: its material, label strength and diameter."""

    class LabelBasis(models.TextChoices):
        TEST = "test"
        TOURNAMENT = "tournament class"
        KNOT = "knot strength"
        UNKNOWN = "unknown"

    name = models.CharField(max_length=120)
    material = models.CharField(max_length=40, choices=Material.choices)
    label_strength_N = models.FloatField(null=True, blank=True)
    label_strength_written = models.CharField(max_length=40, blank=True)
    label_basis = models.CharField(
        max_length=20, choices=LabelBasis.choices, default=LabelBasis.UNKNOWN
    )
    diameter_m = models.FloatField(null=True, blank=True)
    diameter_written = models.CharField(max_length=40, blank=True)
    proposed_by = models.ForeignKey(
        Contributor, null=True, blank=True, on_delete=models.PROTECT, related_name="proposed_lines"
    )
    accepted = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="line_name_is_unique"),
            models.CheckConstraint(
                condition=models.Q(label_strength_N__isnull=True)
                | within("label_strength_N", bounds.LABEL_STRENGTH_N),
                name="line_label_strength_is_1_to_5000_N",
            ),
            models.CheckConstraint(
                condition=models.Q(diameter_m__isnull=True)
                | within("diameter_m", bounds.DIAMETER_m),
                name="line_diameter_is_0.05_to_3_mm",
            ),
        ]

    def __str__(self) -> str:
        return self.name
