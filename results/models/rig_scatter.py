"""How much a rig's sessions vary from day to day, as all rigs together are judged by."""

from __future__ import annotations

from django.db import models

from rigs.models import Rig


class RigScatter(models.Model):
    """Variance of a rig's session means over the usual one, renewed with each of its sessions.

    Only the prior of all rigs is read from here: a rig's own charts compute theirs again.
    """

    class Kind(models.TextChoices):
        STRAIGHT_LINE = "straight line"
        JOIN = "join"

    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="scatters")
    kind = models.CharField(max_length=13, choices=Kind.choices)
    factor = models.FloatField(help_text="over the usual variance of session means")
    degrees_of_freedom = models.FloatField()
    renewed_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["rig", "kind"], name="rig_has_one_scatter_a_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.rig}, {self.kind}: {self.factor:.2f}"
