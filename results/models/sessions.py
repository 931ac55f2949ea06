"""Sessions as they were sent: baselines of straight line, pull sets of joined line, pulls."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import models
from django.utils.translation import gettext

from results.models.connections import Connection, tie_of
from rigs.metrology import bounds
from rigs.models import Contributor, Line, RigRevision
from rigs.models.within import all_within

JOIN_DIAMETER_m = bounds.JOIN_DIAMETER_mm.times(0.001)


class Session(models.Model):
    """One day at one revision of one rig, in one version of its telling."""

    class State(models.TextChoices):
        DRY = "dry"
        WETTED = "wetted"
        SOAKED = "soaked"

    class Loading(models.TextChoices):
        STATIC = "static"
        SHOCK = "shock"

    class Standing(models.TextChoices):
        CURRENT = "current"
        REPLACED = "replaced"
        WITHDRAWN = "withdrawn"

    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="sessions")
    revision = models.ForeignKey(RigRevision, on_delete=models.PROTECT, related_name="sessions")
    pulled_on = models.DateField()
    state = models.CharField(max_length=10, choices=State.choices)
    loading = models.CharField(max_length=10, choices=Loading.choices, default=Loading.STATIC)
    unit = models.CharField(max_length=10)
    temperature_C = models.FloatField(null=True, blank=True)
    soak_hours = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    standing = models.CharField(max_length=10, choices=Standing.choices, default=Standing.CURRENT)
    standing_reason = models.TextField(blank=True)
    fingerprint = models.CharField(max_length=64)
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-received_at", "-id"]
        indexes = [
            models.Index(fields=["contributor", "-pulled_on"], name="session_by_contributor"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["contributor", "fingerprint"],
                condition=models.Q(standing="current"),
                name="session_is_stored_once",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["dry", "wetted", "soaked"]),
                name="session_state_is_known",
            ),
            models.CheckConstraint(
                condition=models.Q(standing__in=["current", "replaced", "withdrawn"]),
                name="session_standing_is_known",
            ),
            all_within(
                "session_is_within_bounds",
                {"temperature_C": bounds.TEMPERATURE_C, "soak_hours": bounds.SOAK_h},
                day="pulled_on",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.contributor.handle}, {self.pulled_on:%Y-%m-%d}"

    @property
    def joins(self) -> list[str]:
        """The names of the joins pulled, each once."""
        return list(dict.fromkeys(each.connection.name for each in self.pull_sets.all()))

    def earlier_versions(self) -> Iterator[Session]:
        """The versions that this one replaced, newest first; a query each."""
        version = self.replaces
        while version is not None:
            yield version
            version = version.replaces


class Upload(models.Model):
    """The bytes a session came in, kept as sent, and the key that makes a resend safe."""

    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="uploads")
    session = models.OneToOneField(Session, on_delete=models.PROTECT, related_name="upload")
    idempotency_key = models.CharField(max_length=200, null=True, blank=True)
    content_type = models.CharField(max_length=120)
    body = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-received_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["contributor", "idempotency_key"], name="upload_key_is_used_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.content_type}, {self.sha256[:12]}"


class Baseline(models.Model):
    """Straight-line pulls of one line from one spool in one session."""

    class Position(models.TextChoices):
        BEFORE = "before"
        BETWEEN = "between"
        AFTER = "after"

    session = models.ForeignKey(Session, on_delete=models.CASCADE, related_name="baselines")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="baselines")
    spool = models.CharField(max_length=60, blank=True)
    position = models.CharField(max_length=10, choices=Position.choices, default=Position.BEFORE)

    class Meta:
        ordering = ["session_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "line", "spool", "position"],
                name="baseline_is_told_once_a_position",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line} straight, {self.position}"

    @property
    def specimen(self) -> str:
        """The specimen that was pulled: the line, and its spool if it has a name."""
        return f"{self.line}, spool {self.spool}" if self.spool else str(self.line)


class PullSet(models.Model):
    """Pulls of one join, tied one way, on one pair of lines, in one session."""

    class State(models.TextChoices):
        RECEIVED = "received"
        NORMALISED = "normalised"
        POOLED = "pooled"
        HELD = "held"
        RELEASED = "released"
        REJECTED = "rejected"
        WITHDRAWN = "withdrawn"

    session = models.ForeignKey(Session, on_delete=models.CASCADE, related_name="pull_sets")
    label = models.CharField(max_length=60)
    connection = models.ForeignKey(Connection, on_delete=models.PROTECT, related_name="pull_sets")
    doubled = models.BooleanField(default=False)
    main_line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="sets_as_main")
    main_spool = models.CharField(max_length=60, blank=True)
    leader_line = models.ForeignKey(
        Line, null=True, blank=True, on_delete=models.PROTECT, related_name="sets_as_leader"
    )
    leader_spool = models.CharField(max_length=60, blank=True)
    terminal = models.CharField(max_length=60, blank=True)
    parameters = models.JSONField(default=dict, blank=True)
    tyer = models.CharField(max_length=60, blank=True)
    discarded_ties = models.PositiveIntegerField(default=0)
    time_to_tie_s = models.FloatField(null=True, blank=True)
    join_diameter_m = models.FloatField(
        null=True, blank=True, help_text="of the finished join at its thickest"
    )
    note = models.TextField(blank=True)
    state = models.CharField(max_length=12, choices=State.choices, default=State.RECEIVED)
    not_normalised = models.CharField(
        max_length=300, blank=True, help_text="why no efficiency can be given"
    )
    judged_log_ratio = models.FloatField(
        null=True,
        editable=False,
        help_text="log ratio at which screening last judged its influence and let it count",
    )

    class Meta:
        ordering = ["session_id", "id"]
        indexes = [models.Index(fields=["state"], name="pull_set_by_state")]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "label"], name="pull_set_label_is_unique_to_its_session"
            ),
            models.CheckConstraint(
                condition=models.Q(leader_line__isnull=False) | ~models.Q(terminal=""),
                name="pull_set_joins_to_a_line_or_a_terminal",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    state__in=[
                        "received",
                        "normalised",
                        "pooled",
                        "held",
                        "released",
                        "rejected",
                        "withdrawn",
                    ]
                ),
                name="pull_set_state_is_known",
            ),
            all_within(
                "pull_set_is_within_bounds",
                {
                    "discarded_ties": bounds.DISCARDED_TIES,
                    "time_to_tie_s": bounds.TIME_TO_TIE_s,
                    "join_diameter_m": JOIN_DIAMETER_m,
                },
            ),
        ]

    def __str__(self) -> str:
        """The one name of a set, for people: ``Palomar, doubled, set 12``.

        What can't be taken back (mails, letters, kept reasons) has the number of it alone, and the
        tester's own label of it stands beside it where a session is corrected.
        """
        return gettext("%(tie)s, set %(number)s") % {
            "tie": tie_of(self.connection.name, self.doubled),
            "number": self.pk,
        }

    @property
    def specimen(self) -> str:
        """What was tied: the join, how, and in what."""
        other = self.leader_line or self.terminal
        doubled = ", doubled" if self.doubled else ""
        tied = ", ".join(
            f"{name.replace('_', ' ')} {value}" for name, value in sorted(self.parameters.items())
        )
        how = f" ({tied})" if tied else ""
        return f"{self.connection}{doubled}{how}, {self.main_line} to {other}"


class Pull(models.Model):
    """One pull: the reading as written and in newtons, and how it ended."""

    class FailureMode(models.TextChoices):
        JOIN = "join"
        SLIP = "slip"
        LINE = "line"
        GRIP = "grip"
        TERMINAL = "terminal"
        NONE = "none"
        VOID = "void"

    baseline = models.ForeignKey(
        Baseline, null=True, blank=True, on_delete=models.CASCADE, related_name="pulls"
    )
    pull_set = models.ForeignKey(
        PullSet, null=True, blank=True, on_delete=models.CASCADE, related_name="pulls"
    )
    number = models.PositiveIntegerField()
    reading_written = models.CharField(max_length=24, blank=True)
    unit = models.CharField(max_length=10)
    reading_N = models.FloatField(null=True, blank=True)
    failure_mode = models.CharField(max_length=10, choices=FailureMode.choices)
    place = models.CharField(max_length=40, blank=True)
    slipped_first = models.BooleanField(default=False)
    time_to_break_s = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(baseline__isnull=True, pull_set__isnull=False)
                | models.Q(baseline__isnull=False, pull_set__isnull=True),
                name="pull_is_of_a_baseline_or_of_a_set",
            ),
            models.CheckConstraint(
                condition=models.Q(failure_mode="void") | models.Q(reading_N__gt=0),
                name="pull_has_a_positive_reading_unless_void",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    failure_mode__in=["join", "slip", "line", "grip", "terminal", "none", "void"]
                ),
                name="pull_failure_mode_is_known",
            ),
            all_within(
                "pull_is_within_bounds",
                {"reading_N": bounds.READING_N, "time_to_break_s": bounds.TIME_TO_BREAK_s},
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reading_written} {self.unit}, {self.failure_mode}"
