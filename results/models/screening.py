"""What screening found, and what contributors and moderators said of it. Nothing is deleted."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q, Subquery

from results.models.declared.holds import Hold, hold_named
from results.models.proposals import WaitingSession
from results.models.rounds import Round
from results.models.sessions import Baseline, PullSet, Session
from results.models.states import StateChange
from rigs.models import Contributor, Suspension


class Screening(models.Model):
    """One look at a session by all checks; a later look that finds the same adds none."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="screenings")
    screened_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["session_id", "-id"]

    def __str__(self) -> str:
        return f"{self.session}, screened {self.screened_at:%Y-%m-%d %H:%M}"


class CheckResult(models.Model):
    """What one check found of a session, of its straight line, or of one set.

    ``pull_set`` and ``baseline`` are both empty where the whole session is meant.
    """

    class Level(models.TextChoices):
        NONE = "none"
        MARK = "mark"
        HOLD = "hold"

    screening = models.ForeignKey(Screening, on_delete=models.CASCADE, related_name="checks")
    pull_set = models.ForeignKey(
        PullSet, null=True, blank=True, on_delete=models.PROTECT, related_name="checks"
    )
    baseline = models.ForeignKey(
        Baseline, null=True, blank=True, on_delete=models.PROTECT, related_name="checks"
    )
    name = models.CharField(max_length=60)
    applies_to = models.CharField(max_length=200)
    figure = models.FloatField()
    threshold = models.FloatField()
    p = models.FloatField(null=True)
    adjusted_p = models.FloatField(null=True, help_text="over all checks of the session")
    level = models.CharField(max_length=4, choices=Level.choices)
    sentence = models.TextField()
    source = models.CharField(max_length=300)
    meant_unit = models.CharField(
        max_length=10,
        blank=True,
        default="",
        db_default="",
        help_text="unit that the readings seem to be in, where another was entered",
    )

    class Meta:
        ordering = ["screening_id", "id"]
        indexes = [models.Index(fields=["name", "level"], name="check_by_name_and_level")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(level__in=["none", "mark", "hold"]),
                name="check_level_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.applies_to}: {self.level}"

    @property
    def hold(self) -> Hold | None:
        """Where it holds: honest reasons to trip it, and what settles it."""
        return hold_named(self.name) if self.level == self.Level.HOLD else None


APPEALED = Q(appealed__isnull=False) & ~Q(pull_set__state=PullSet.State.WITHDRAWN)
"""Cases whose decision an appeal is against. What its tester withdraws waits for no one."""
OPEN = Q(pull_set__state=PullSet.State.HELD) | APPEALED


class Cases(models.QuerySet[Any]):
    """Cases; those that ``wait_for_a_second_look`` need no person to count."""

    def still_open(self) -> Self:
        """Those that wait for a person, or for a second look."""
        return self.filter(OPEN)

    def wait_for_a_second_look(self) -> Self:
        """Of sets held by the service for their influence on their pool alone.

        Not of a suspended account, nor where a person has held the set since.
        """
        changes = StateChange.objects.filter(pull_set=OuterRef("pull_set")).order_by("-pk")
        suspended = Suspension.objects.filter(
            contributor=OuterRef("pull_set__session__contributor"), lifted_at__isnull=True
        )
        return self.annotate(held_by=Subquery(changes.values("by")[:1])).filter(
            ~Exists(suspended),
            held_by__isnull=True,
            pull_set__state=PullSet.State.HELD,
            influence_limit__isnull=False,
        )


class ReviewCase(models.Model):
    """A set that waits, or waited, for a moderator, and how far its pool would move with it.

    Open while the set is held or an appeal waits.
    """

    pull_set = models.OneToOneField(
        PullSet, primary_key=True, on_delete=models.PROTECT, related_name="review_case"
    )
    pool_shift = models.FloatField(
        null=True, help_text="change of the log of the pooled efficiency, were the set counted"
    )
    influence_limit = models.FloatField(
        null=True,
        blank=True,
        help_text="the largest such change that counts at once, where the set waits for a second "
        "look for that alone",
    )
    appealed = models.ForeignKey(
        StateChange,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="the decision that an appeal waits to have looked at by another moderator",
    )
    opened_at = models.DateTimeField(auto_now_add=True)

    objects = models.Manager.from_queryset(Cases)()

    class Meta:
        ordering = ["pull_set_id"]

    def __str__(self) -> str:
        return str(self.pull_set)


class Message(models.Model):
    """One entry in the thread of a set; ``by`` is empty for the service itself."""

    class Kind(models.TextChoices):
        QUESTION = "question"
        ANSWER = "answer"
        APPEAL = "appeal"
        DECISION = "decision"

    pull_set = models.ForeignKey(PullSet, on_delete=models.PROTECT, related_name="messages")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="messages",
    )
    kind = models.CharField(max_length=10, choices=Kind.choices)
    text = models.TextField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pull_set_id", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["question", "answer", "appeal", "decision"]),
                name="message_kind_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} on {self.pull_set}"


class Notice(models.Model):
    """A message to a contributor: about a set, a question, a chart, their account or a proposal.

    ``baseline`` is the straight line whose chart signalled, if the notice is about that. Of a
    set are all but those about a session that ``waiting`` holds, and those to an account that has
    no set yet. `results.review.notices` says where each kind leads.
    """

    class About(models.TextChoices):
        SET = "set"
        THREAD = "thread"
        CHART = "chart"
        ACCOUNT = "account"
        WAITING = "waiting"
        ROUND = "round"

    to = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="notices")
    about = models.CharField(max_length=10, choices=About.choices, db_default=About.SET)
    pull_set = models.ForeignKey(
        PullSet, null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    waiting = models.ForeignKey(
        WaitingSession,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="notices",
    )
    baseline = models.ForeignKey(
        Baseline, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    round = models.ForeignKey(
        Round, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    text = models.TextField()
    at = models.DateTimeField(auto_now_add=True)
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"to {self.to.handle}, {self.at:%Y-%m-%d}"
