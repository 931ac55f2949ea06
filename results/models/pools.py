"""Pools: what all testers together say of one join on one kind of line pair."""

from __future__ import annotations

from datetime import datetime

from django.db import models
from django.db.models.functions import Now

from results.models.connections import Connection
from results.models.declared import help_of, withheld
from results.models.published import Freshness, PublishedPools
from results.models.sessions import PullSet
from rigs.models import Material
from rigs.models.within import finite

LINE_PAIR = ("main_material", "leader_material", "terminal", "wet", "shock")
"""Columns of a pool that say which two lines are joined, or which line is tied to what, and how."""


class Pool(models.Model):
    """The key of a pool. Line size, turns and the like are moderators within it, not keys."""

    connection = models.ForeignKey(Connection, on_delete=models.PROTECT, related_name="pools")
    doubled = models.BooleanField(default=False)
    main_material = models.CharField(max_length=40, choices=Material.choices)
    leader_material = models.CharField(max_length=40, choices=Material.choices, blank=True)
    terminal = models.CharField(max_length=60, blank=True)
    wet = models.BooleanField(default=False)
    shock = models.BooleanField(default=False)
    current = models.OneToOneField(
        "PoolVersion", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    failures = models.PositiveIntegerField(
        default=0, help_text="attempts in a row at computing it, none of which succeeded"
    )
    excused = models.PositiveIntegerField(
        default=0, db_default=0, help_text="attempts that lost their connection and don't count"
    )
    attempted_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="when the last of them began"
    )
    failed_at = models.DateTimeField(
        null=True, blank=True, help_text="when computing it last failed; empty once it succeeds"
    )

    objects = models.Manager.from_queryset(PublishedPools)()
    updating_since: datetime | None = None
    """As ``PublishedPools`` finds it: since when what the pool says has been due to change."""
    taken_down_at: datetime | None = None
    """As ``PublishedPools`` finds it: since when there has been no public figure."""

    class Meta:
        ordering = ["main_material", "leader_material", "terminal", "wet", "shock", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=[
                    "connection",
                    "doubled",
                    "main_material",
                    "leader_material",
                    "terminal",
                    "wet",
                    "shock",
                ],
                name="pool_key_is_unique",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tie}, {self.line_pair}, {self.conditions}"

    @property
    def tie(self) -> str:
        """The join and its variant, as a tester would say it."""
        return f"{self.connection.name}, doubled" if self.doubled else self.connection.name

    @property
    def line_pair(self) -> str:
        """The two materials, or the material and the terminal."""
        return f"{self.main_material} to {self.leader_material or self.terminal}"

    @property
    def freshness(self) -> Freshness:
        """How fresh what the pool says is, where it was looked up as published."""
        if self.taken_down_at is not None:
            return Freshness("recomputing", self.taken_down_at, self.failed_at)
        if self.updating_since is not None:
            return Freshness("updating", self.updating_since, self.failed_at)
        return Freshness("current", None, self.failed_at)

    @property
    def conditions(self) -> str:
        """Wet or dry, and shock where it was."""
        return ("wet" if self.wet else "dry") + (", shock" if self.shock else "")


class PoolVersion(models.Model):
    """One dated state of a pool. Without three testers it holds counts and no pooled figure."""

    pool = models.ForeignKey(Pool, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    computed_at = models.DateTimeField(auto_now_add=True)
    woken_at = models.DateTimeField(db_default=Now(), editable=False)
    why = models.JSONField(default=list, help_text="what made the earlier version stale")
    testers = models.PositiveIntegerField(help_text=help_of("testers"))
    sessions = models.PositiveIntegerField(help_text=help_of("sessions"))
    sets = models.PositiveIntegerField(help_text=help_of("sets"))
    pulls = models.PositiveIntegerField(help_text=help_of("pulls"))
    efficiency = models.FloatField(null=True, help_text=help_of("efficiency"))
    interval_low = models.FloatField(null=True, help_text=help_of("interval_low"))
    interval_high = models.FloatField(null=True, help_text=help_of("interval_high"))
    prediction_low = models.FloatField(null=True, help_text=help_of("prediction_low"))
    prediction_high = models.FloatField(null=True, help_text=help_of("prediction_high"))
    i2 = models.FloatField(null=True, help_text=help_of("i2"))
    cv_join = models.FloatField(null=True, help_text=help_of("cv_join"))
    cv_baseline = models.FloatField(null=True, help_text=help_of("cv_baseline"))
    no_figure = models.CharField(max_length=300, blank=True, help_text=help_of("no_figure"))
    figures = models.JSONField(default=dict, help_text="everything computed, on the log scale")
    held_by_nine = models.FloatField(null=True, help_text=help_of("held_by_nine"))
    time_to_tie_s = models.FloatField(null=True, help_text=help_of("time_to_tie_s"))
    bulk = models.FloatField(null=True, help_text=help_of("bulk"))
    findings = models.JSONField(
        default=dict, db_default={}, help_text="how pulls ended, moderators and the like"
    )
    snapshot = models.CharField(
        max_length=64,
        blank=True,
        db_default="",
        db_index=True,
        help_text="names what it was computed from; empty before snapshots were kept",
    )
    inputs = models.JSONField(
        default=dict, db_default={}, help_text="ids of the sets, baselines and calibrations"
    )
    forest_light = models.TextField(blank=True)
    forest_dark = models.TextField(blank=True)  # read by the code of 0.1 alone, during an upgrade
    attempts = models.PositiveIntegerField(
        default=0, db_default=0, help_text="at drawing and comparing it, none of which succeeded"
    )
    excused = models.PositiveIntegerField(
        default=0, db_default=0, help_text="attempts that lost their connection and don't count"
    )

    superseded = False
    """Whether it is no longer what the pool says; lookups find it."""
    taken_down_at: datetime | None = None
    """On the current version: since when its figures have not been public."""
    added = removed = 0
    """How many sets came with it and left with it; lookups of what is new find them."""
    before: float | None = None
    """The efficiency of the version before it; the same lookups find it."""

    class Meta:
        ordering = ["pool_id", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["pool", "number"], name="pool_version_is_unique"),
            finite(
                "pool_version_is_finite",
                *("efficiency", "interval_low", "interval_high", "prediction_low"),
                *("prediction_high", "i2", "cv_join", "cv_baseline", "held_by_nine"),
                *("time_to_tie_s", "bulk"),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    number__gte=1,
                    testers__lte=models.F("sets"),
                    sessions__lte=models.F("sets"),
                    interval_low__lte=models.F("interval_high"),
                    prediction_low__lte=models.F("prediction_high"),
                ),
                name="pool_version_is_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pool}, version {self.number}"

    def withhold(self, since: datetime) -> None:
        """Empty this version, which is not to be saved then, of all that its sets came to."""
        for name in withheld():
            setattr(self, name, None)
        self.figures, self.findings = {}, {}
        self.forest_light = self.forest_dark = ""
        self.superseded, self.taken_down_at = True, since
        self.no_figure = (
            f"being recomputed since {since:%Y-%m-%d %H:%M} UTC, when a set was withdrawn, "
            f"rejected or held; version {self.number} is superseded"
        )


class PoolMembership(models.Model):
    """That a set counts in a pool, from one version of the pool until another."""

    pool = models.ForeignKey(Pool, on_delete=models.PROTECT, related_name="memberships")
    pull_set = models.ForeignKey(PullSet, on_delete=models.PROTECT, related_name="memberships")
    since = models.ForeignKey(PoolVersion, on_delete=models.PROTECT, related_name="sets_added")
    until = models.ForeignKey(
        PoolVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="sets_removed"
    )

    class Meta:
        ordering = ["pool_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["pool", "pull_set"],
                condition=models.Q(until__isnull=True),
                name="set_counts_once_in_a_pool",
            ),
            models.UniqueConstraint(
                fields=["pull_set"],
                condition=models.Q(until__isnull=True),
                name="set_counts_in_one_pool",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pull_set} in {self.pool}"


class DirectComparison(models.Model):
    """The joins of one line pair as compared on the same rig and day, by testers who tied several.

    ``versions`` are the pool versions whose sets went into it. Where nothing was compared, or by
    too few, ``why_not`` says so and ``figures`` has at most how the pooled figures vary together.
    """

    main_material = models.CharField(max_length=40, choices=Material.choices)
    leader_material = models.CharField(max_length=40, choices=Material.choices, blank=True)
    terminal = models.CharField(max_length=60, blank=True)
    wet = models.BooleanField(default=False)
    shock = models.BooleanField(default=False)
    versions = models.JSONField(default=list)
    computed_at = models.DateTimeField(auto_now=True)
    why_not = models.CharField(max_length=300, blank=True)
    figures = models.JSONField(default=dict, help_text="on the log scale")

    class Meta:
        ordering = ["main_material", "leader_material", "terminal", "wet", "shock"]
        constraints = [
            models.UniqueConstraint(
                fields=["main_material", "leader_material", "terminal", "wet", "shock"],
                name="line_pair_is_compared_once",
            ),
        ]

    def __str__(self) -> str:
        return f"joins of {self.main_material} to {self.leader_material or self.terminal}"
