"""Links of the chain that seals what was decided, sent and computed."""

from __future__ import annotations

from django.db import models


class AuditLink(models.Model):
    """One row of history, sealed: to change, remove or insert one breaks the chain.

    ``hash`` is the SHA-256 of the hash before, of the row's columns and of ``digest``. ``digest``
    is the SHA-256 of ``salt`` and of the words that may be erased: once they are, the salt goes
    too, and they cannot be found again by trying, but the chain holds.
    """

    subject = models.CharField(max_length=40, help_text="the table, as results.StateChange")
    row = models.PositiveBigIntegerField()
    salt = models.BinaryField(max_length=16)
    digest = models.CharField(max_length=64)
    previous = models.CharField(max_length=64, unique=True, help_text="the hash of the link before")
    hash = models.CharField(max_length=64)
    sealed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["subject", "row"], name="row_is_sealed_once"),
        ]

    def __str__(self) -> str:
        return f"{self.subject} {self.row}"
