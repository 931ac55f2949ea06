"""Rigs and their revisions: a changed grip or scale is a new revision."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from rigs.metrology import bounds
from rigs.models.contributors import Contributor
from rigs.models.within import all_within, within

CONSTRAINED_APART = ("lever_ratio", "free_length_m", "latitude_deg")
"""Columns of a revision whose bounds are constraints of their own, named after them."""
DESCRIBED_BY = (
    "load_generation",
    "load_path",
    "pulleys_between",
    "lever_ratio",
    "indicator",
    "peak_capture",
    "resolution",
    "capacity",
    "sample_rate_Hz",
    "first_grip",
    "second_grip",
    "grip_cover",
    "free_length",
    "time_to_break_s",
)
"""What a revision is described by, in the order asked; quantities by their name without a unit."""
WHERE_IT_STANDS = ("place", "latitude_deg", "height_m")
QUANTITIES = {
    "resolution": ("resolution_N", "resolution_written"),
    "capacity": ("capacity_N", "capacity_written"),
    "free_length": ("free_length_m", "free_length_written"),
}
"""The columns of each quantity: the number, and what was written."""


class Rig(models.Model):
    """A pull rig, as its owner names it."""

    owner = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="rigs")
    name = models.CharField(max_length=120)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["owner_id", "name"]
        constraints = [
            models.UniqueConstraint("owner", Lower("name"), name="rig_name_is_unique_to_its_owner"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.owner.handle})"

    @property
    def latest(self) -> RigRevision:
        """The revision as the rig stands now; no query where the revisions are at hand."""
        current = (one for one in self.revisions.all() if one.standing == "current")
        return max(current, key=lambda revision: revision.number)


class RigRevision(models.Model):
    """One state of a rig. A change of the rig makes the next revision.

    What was entered wrongly is corrected in place, and counted in ``version``; `RevisionChange`
    keeps what it was.
    """

    class Standing(models.TextChoices):
        CURRENT = "current"
        VOIDED = "voided"

    class LoadGeneration(models.TextChoices):
        WATER = "water or sand run into a container"
        WEIGHTS = "weights added"
        HAND_WINCH = "hand winch"
        LEVER = "lever"
        SCREW = "screw"
        HYDRAULIC = "hydraulic"
        MOTOR = "motor"
        TESTING_MACHINE = "testing machine"

    class Indicator(models.TextChoices):
        SPRING = "spring scale"
        DIAL = "dial scale"
        DIGITAL = "digital scale"
        LOAD_CELL = "load cell"
        PLATFORM = "platform scale"
        SUM_OF_WEIGHTS = "sum of weights"
        PRESSURE = "pressure gauge"

    class PeakCapture(models.TextChoices):
        PEAK_HOLD = "peak hold"
        VIDEO = "video"
        BY_EYE = "read by eye"
        LAST_WEIGHT = "last weight added"

    class Grip(models.TextChoices):
        BOLLARD = "bollard"
        JAWS = "jaws"
        CLEAT = "cleat"
        EYE = "eye"
        KNOT = "knot"
        CRIMP = "crimp"
        HOOK = "hook or swivel"
        SPOOL = "spool"

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    version = models.PositiveIntegerField(default=1, db_default=1)
    standing = models.CharField(
        max_length=10, choices=Standing.choices, default=Standing.CURRENT, db_default="current"
    )
    made_on = models.DateField()
    what_changed = models.TextField(blank=True)
    why = models.TextField(blank=True)
    load_generation = models.CharField(max_length=40, choices=LoadGeneration.choices)
    load_path = models.CharField(max_length=300, blank=True)
    pulleys_between = models.PositiveSmallIntegerField(default=0)
    lever_ratio = models.FloatField(default=1.0)
    indicator = models.CharField(max_length=20, choices=Indicator.choices)
    peak_capture = models.CharField(max_length=20, choices=PeakCapture.choices)
    resolution_N = models.FloatField()
    resolution_written = models.CharField(max_length=40)
    capacity_N = models.FloatField(null=True, blank=True)
    capacity_written = models.CharField(max_length=40, blank=True)
    sample_rate_Hz = models.FloatField(null=True, blank=True)
    first_grip = models.CharField(max_length=20, choices=Grip.choices)
    second_grip = models.CharField(max_length=20, choices=Grip.choices)
    grip_cover = models.CharField(max_length=120, blank=True)
    free_length_m = models.FloatField(null=True, blank=True)
    free_length_written = models.CharField(max_length=40, blank=True)
    time_to_break_s = models.FloatField(null=True, blank=True)
    place = models.CharField(max_length=120, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    height_m = models.FloatField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["rig_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["rig", "number"], name="revision_number_is_unique"),
            models.CheckConstraint(
                condition=models.Q(resolution_N__gt=0), name="revision_resolution_is_positive"
            ),
            models.CheckConstraint(
                condition=models.Q(capacity_N__isnull=True) | models.Q(capacity_N__gt=0),
                name="revision_capacity_is_positive",
            ),
            models.CheckConstraint(
                condition=within("lever_ratio", bounds.OF_REVISION["lever_ratio"]),
                name="revision_lever_ratio_is_0.01_to_100",
            ),
            models.CheckConstraint(
                condition=models.Q(free_length_m__isnull=True)
                | within("free_length_m", bounds.OF_REVISION["free_length_m"]),
                name="revision_free_length_is_0.05_to_50_m",
            ),
            models.CheckConstraint(
                condition=models.Q(latitude_deg__isnull=True)
                | within("latitude_deg", bounds.OF_REVISION["latitude_deg"]),
                name="revision_latitude_is_on_earth",
            ),
            all_within(
                "revision_is_within_bounds",
                {
                    column: of
                    for column, of in bounds.OF_REVISION.items()
                    if column not in CONSTRAINED_APART
                },
                day="made_on",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rig.name}, revision {self.number}"
