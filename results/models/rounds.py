"""A club's rounds: what participants are sent under which code, and who knows before the close."""

from __future__ import annotations

from datetime import UTC, datetime

from django.db import models
from django.db.models import F, Q

from results.models.connections import Connection
from results.models.sessions import Session
from rigs.metrology import bounds
from rigs.models import Club, Contributor, Line
from rigs.models.within import all_within


class Round(models.Model):
    """A comparison between testers of a club, on samples that its organiser hands out.

    It is set up, then open, then closed, and stays closed. ``packer`` packs and labels the samples,
    and so knows which is which. Without ``sigma_relative`` scores go by how far results scatter.
    """

    class State(models.TextChoices):
        SETTING_UP = "being set up"
        OPEN = "open"
        CLOSED = "closed"

    club = models.ForeignKey(Club, on_delete=models.PROTECT, related_name="rounds")
    organiser = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="organised")
    packer = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="packed")
    title = models.CharField(max_length=120)
    starts_on = models.DateField()
    results_by = models.DateField(help_text="the last day on which results are in time")
    line_state = models.CharField(
        max_length=10, choices=Session.State.choices, help_text="in which the line is pulled"
    )
    state = models.CharField(max_length=20, choices=State.choices, default=State.SETTING_UP)
    entry_code = models.CharField(max_length=8, unique=True, help_text="by which testers enter")
    tyer = models.ForeignKey(
        Contributor,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="who ties what is tied centrally; the organiser where none is named",
    )
    sigma_relative = models.FloatField(
        null=True,
        blank=True,
        help_text="standard deviation for assessment over the value, declared before the results",
    )
    made_at = models.DateTimeField(auto_now_add=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="being set up", opened_at__isnull=True, closed_at__isnull=True)
                | Q(state="open", opened_at__isnull=False, closed_at__isnull=True)
                | Q(state="closed", opened_at__isnull=False, closed_at__isnull=False),
                name="round_state_has_its_instants",
            ),
            models.CheckConstraint(
                condition=Q(results_by__gte=F("starts_on")), name="round_ends_after_it_starts"
            ),
            models.CheckConstraint(
                condition=Q(Q(opened_at=None) | Q(opened_at__gte=F("made_at")))
                & Q(Q(closed_at=None) | Q(closed_at__gte=F("opened_at"))),
                name="round_opens_before_it_closes",
            ),
            models.CheckConstraint(
                condition=Q(line_state__in=["dry", "wetted", "soaked"]),
                name="round_line_state_is_known",
            ),
            models.CheckConstraint(
                condition=Q(sigma_relative__isnull=True)
                | Q(sigma_relative__gte=0.001, sigma_relative__lte=1),
                name="round_sigma_is_sensible",
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def central_tyer_id(self) -> int:
        """Who ties what is tied for everybody."""
        return self.organiser_id if self.tyer_id is None else self.tyer_id

    def is_late(self, at: datetime) -> bool:
        """Whether what comes at this moment comes after the last day for results, in UTC."""
        return at.astimezone(UTC).date() > self.results_by


class RoundLot(models.Model):
    """A spool that samples are made from, and that every participant gets straight line of."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="lots")
    number = models.PositiveIntegerField()
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")
    spool = models.CharField(max_length=60)

    class Meta:
        ordering = ["round_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["round", "number"], name="round_lot_has_its_number"),
            models.UniqueConstraint(
                fields=["round", "line", "spool"], name="round_lot_is_one_spool"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}, spool {self.spool}"


class LotPull(models.Model):
    """One of the organiser's own pulls of straight line, to show that a lot is alike all through.

    ``piece`` numbers places along the spool; pulls of one piece lie side by side.
    """

    class Occasion(models.TextChoices):
        BEFORE = "before"
        AFTER = "after"

    lot = models.ForeignKey(RoundLot, on_delete=models.CASCADE, related_name="pulls")
    occasion = models.CharField(max_length=10, choices=Occasion.choices)
    piece = models.PositiveIntegerField()
    number = models.PositiveIntegerField(help_text="within the piece")
    reading_written = models.CharField(max_length=24)
    unit = models.CharField(max_length=10)
    reading_N = models.FloatField()
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["lot_id", "occasion", "piece", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "occasion", "piece", "number"], name="lot_pull_has_its_number"
            ),
            models.CheckConstraint(
                condition=Q(occasion__in=["before", "after"]), name="lot_pull_occasion_is_known"
            ),
            all_within("lot_pull_is_within_bounds", {"reading_N": bounds.READING_N}),
        ]

    def __str__(self) -> str:
        return f"piece {self.piece}, {self.reading_written} {self.unit}"


class RoundSample(models.Model):
    """What is compared: one join on given lots, tied for everybody or by each tester.

    Every participant gets ``codes`` lots of ``ties`` joins of it; two codes make the second a
    hidden duplicate. Samples of one ``level`` are meant to hold the same but for who tied them.
    """

    class TiedBy(models.TextChoices):
        CENTRALLY = "centrally"
        TESTER = "by each tester"

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="samples")
    number = models.PositiveIntegerField()
    connection = models.ForeignKey(Connection, on_delete=models.PROTECT, related_name="+")
    doubled = models.BooleanField(default=False)
    main_lot = models.ForeignKey(RoundLot, on_delete=models.PROTECT, related_name="+")
    leader_lot = models.ForeignKey(
        RoundLot, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    terminal = models.CharField(max_length=60, blank=True)
    parameters = models.JSONField(default=dict, blank=True)
    specification = models.TextField(blank=True, help_text="how it is tied, in words")
    tied = models.CharField(max_length=20, choices=TiedBy.choices)
    ties = models.PositiveIntegerField(default=5, help_text="joins under one code")
    codes = models.PositiveIntegerField(default=1, help_text="for each participant")
    level = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["round_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["round", "number"], name="round_sample_has_its_number"),
            models.CheckConstraint(
                condition=Q(tied__in=["centrally", "by each tester"]),
                name="round_sample_is_tied_by_someone",
            ),
            models.CheckConstraint(
                condition=Q(leader_lot__isnull=False) | ~Q(terminal=""),
                name="round_sample_joins_to_a_line_or_a_terminal",
            ),
            models.CheckConstraint(
                condition=Q(ties__gte=2, ties__lte=50, codes__gte=1, codes__lte=3, level__gte=1),
                name="round_sample_is_of_a_sensible_size",
            ),
        ]

    def __str__(self) -> str:
        return f"sample {self.number}"

    @property
    def is_hidden(self) -> bool:
        """Whether testers don't know what it is until the close."""
        return self.tied == self.TiedBy.CENTRALLY


class RoundParticipant(models.Model):
    """A tester in a round. ``number`` is drawn at the close, and stands for them in the report."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="participants")
    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="rounds")
    number = models.PositiveIntegerField(null=True, blank=True)
    late = models.BooleanField(default=False, help_text="entered after the round was opened")
    entered_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["round_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["round", "contributor"], name="round_is_entered_once_by_a_tester"
            ),
            models.UniqueConstraint(
                fields=["round", "number"], name="round_participant_has_a_number"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | Q(withdrawn_at__gte=F("entered_at")),
                name="round_is_entered_before_it_is_left",
            ),
        ]

    def __str__(self) -> str:
        return f"participant {self.number or self.pk}"


class RoundSight(models.Model):
    """That someone has seen which code is which sample, and so is not blind."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="sights")
    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["round_id", "id"]
        constraints = [
            models.UniqueConstraint(fields=["round", "contributor"], name="round_is_seen_once"),
        ]

    def __str__(self) -> str:
        return f"contributor {self.contributor_id} has seen round {self.round_id}"


class SealedSession(models.Model):
    """A session of an open round, kept as it was sent until the close.

    Nothing is made of it before: no session, set or pull, and so nothing that could be shown.
    ``late`` is whether it was late as it came, and stays so; `is_late` goes by the last day as the
    organiser has moved it since.
    """

    class State(models.TextChoices):
        SEALED = "sealed"
        WITHDRAWN = "withdrawn"
        STORED = "stored"
        STOPPED = "stopped"

    participant = models.ForeignKey(
        RoundParticipant, on_delete=models.PROTECT, related_name="sealed"
    )
    idempotency_key = models.CharField(max_length=200, null=True, blank=True)
    content_type = models.CharField(max_length=120)
    body = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    late = models.BooleanField(default=False, help_text="came after the last day for results")
    state = models.CharField(max_length=10, choices=State.choices, default=State.SEALED)
    problem = models.TextField(blank=True, help_text="why it could not be stored at the close")
    session = models.OneToOneField(
        Session, null=True, blank=True, on_delete=models.PROTECT, related_name="sealed"
    )
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["participant_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["participant", "idempotency_key"], name="sealed_session_key_is_used_once"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["sealed", "withdrawn", "stored", "stopped"]),
                name="sealed_session_state_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"sealed session {self.pk}, {self.state}"

    @property
    def is_late(self) -> bool:
        """Whether it came after the last day for results, as that is now."""
        return self.participant.round.is_late(self.received_at)


class RoundSpecimen(models.Model):
    """The joins of one sample for one participant, under a blind code.

    ``copy`` is 2 of a hidden duplicate. ``sent_in`` is the sealed session that has its pulls.
    """

    participant = models.ForeignKey(
        RoundParticipant, on_delete=models.CASCADE, related_name="specimens"
    )
    sample = models.ForeignKey(RoundSample, on_delete=models.PROTECT, related_name="specimens")
    copy = models.PositiveIntegerField(default=1)
    code = models.CharField(max_length=8, unique=True)
    sent_in = models.ForeignKey(
        SealedSession, null=True, blank=True, on_delete=models.PROTECT, related_name="specimens"
    )

    class Meta:
        ordering = ["participant_id", "code"]
        constraints = [
            models.UniqueConstraint(
                fields=["participant", "sample", "copy"], name="round_specimen_is_allocated_once"
            ),
        ]

    def __str__(self) -> str:
        return f"code {self.code}"
