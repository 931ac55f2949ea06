"""What testers propose for the catalogue from where they are stopped, and sessions that wait."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from results.models.connections import Connection, TieParameter
from results.models.sessions import Session
from rigs.models import Contributor, Line


class Proposal(models.Model):
    """A name that the catalogue lacks, as a tester wrote it, and what a moderator made of it.

    A parameter is one of a ``connection``. What an accepted or mapped proposal means is the entry
    in ``became_line``, ``became_connection`` or ``became_parameter``: from then on its proposer's
    uploads find that entry by this name.
    """

    class Kind(models.TextChoices):
        JOIN = "join"
        LINE = "line"
        PARAMETER = "parameter"

    class State(models.TextChoices):
        OPEN = "open"
        ACCEPTED = "accepted"
        MAPPED = "mapped"
        DECLINED = "declined"

    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="proposals")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=120)
    connection = models.ForeignKey(
        Connection, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.TextField(blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    answer = models.TextField(blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    became_connection = models.ForeignKey(
        Connection, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    became_line = models.ForeignKey(
        Line, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    became_parameter = models.ForeignKey(
        TieParameter, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["state"], name="proposal_by_state")]

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"

    @property
    def became(self) -> Connection | Line | TieParameter | None:
        """The entry of the catalogue that it means."""
        return self.became_connection or self.became_line or self.became_parameter


class WaitingSession(models.Model):
    """A session that names what the catalogue lacks: kept as sent until that is decided on."""

    class State(models.TextChoices):
        WAITING = "waiting"
        STORED = "stored"
        STOPPED = "stopped"

    key = models.UUIDField(
        primary_key=True,
        default=uuid.uuid4,
        help_text="becomes the Idempotency-Key when it is stored",
    )
    contributor = models.ForeignKey(
        Contributor, on_delete=models.CASCADE, related_name="waiting_sessions"
    )
    file_name = models.CharField(max_length=120, blank=True)
    content_type = models.CharField(max_length=120)
    body = models.BinaryField()
    replaces = models.ForeignKey(
        Session,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
        db_index=False,  # never sought by
        help_text="the session that it corrects",
    )
    reason = models.TextField(
        blank=True, default="", db_default="", help_text="what was wrong with the one it corrects"
    )
    proposals = models.ManyToManyField(Proposal, related_name="waiting_sessions")
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    problem = models.TextField(blank=True, help_text="why it could not be stored in the end")
    session = models.ForeignKey(
        Session, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return f"{self.file_name or self.content_type}, {self.state}"
