"""Names that a moderator has accepted, so that everyone may read them."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class AcceptedName(models.Model):
    """A text that is fit to be read by everyone as the name of something: who said so, and when.

    It is the text that is accepted, not a row: a name that is changed is another text, which
    no moderator has looked at.
    """

    class Kind(models.TextChoices):
        RIG = "rig"
        SPOOL = "spool"
        LABEL = "label"
        TERMINAL = "terminal"
        ROUND = "round"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    text = models.CharField(max_length=120)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="empty for what the service knows from the beginning",
    )
    accepted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["kind", "text"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "text"], name="name_is_accepted_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.text}"
