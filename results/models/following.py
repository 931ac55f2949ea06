"""What contributors follow, and how often they are mailed what is new of it."""

from __future__ import annotations

import uuid

from django.db import models

from rigs.models import Contributor


class Follow(models.Model):
    """That a contributor follows something.

    ``number`` is the id of a pool, join, tester or round; of a line pair the least id of its pools,
    and 0 for everything.
    """

    class Subject(models.TextChoices):
        EVERYTHING = "everything"
        POOL = "pool"
        JOIN = "join"
        LINE_PAIR = "line pair"
        TESTER = "tester"
        ROUND = "round"

    contributor = models.ForeignKey(Contributor, on_delete=models.CASCADE, related_name="follows")
    subject = models.CharField(max_length=12, choices=Subject.choices)
    number = models.PositiveBigIntegerField(default=0)
    since = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["contributor_id", "subject", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["contributor", "subject", "number"], name="followed_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject} {self.number or ''}".strip()


class Mailing(models.Model):
    """How often a contributor is mailed what is new, and up to which version they were.

    Mail that the server refused is sent again later, from the same version on. Where it is unclear
    whether the server took it, it is not, so that no one gets it twice.
    """

    class Every(models.TextChoices):
        NEVER = "never"
        DAY = "day"
        WEEK = "week"

    contributor = models.OneToOneField(
        Contributor, on_delete=models.CASCADE, related_name="mailing"
    )
    every = models.CharField(max_length=8, choices=Every.choices, default=Every.NEVER)
    key = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        editable=False,
        help_text="ends the mail without signing in",
    )
    through = models.BigIntegerField(default=0, help_text="the last pool version it has covered")
    rounds_through = models.BigIntegerField(
        default=0, db_default=0, help_text="the last event of a round that it has covered"
    )
    mailed_at = models.DateTimeField(null=True, blank=True)
    refused = models.PositiveIntegerField(
        default=0, help_text="attempts in a row that the mail server refused"
    )
    again_at = models.DateTimeField(
        null=True, blank=True, help_text="when to try again after a refusal"
    )

    class Meta:
        ordering = ["contributor_id"]

    def __str__(self) -> str:
        return f"{self.contributor}, {self.every}"


class UnsentMail(models.Model):
    """A mail about a notice that the mail server did not take, to be sent again.

    It is deleted before it is sent, and stored again where it is refused once more: where it is
    unclear whether the server took it, no one gets it twice.
    """

    contributor = models.ForeignKey(
        Contributor, on_delete=models.CASCADE, related_name="unsent_mails"
    )
    subject = models.CharField(max_length=200, help_text="of the service, no words of a person")
    text = models.TextField(help_text="of the service, no words of a person")
    refused = models.PositiveIntegerField(help_text="attempts that the mail server refused")
    again_at = models.DateTimeField(help_text="when to try again")

    class Meta:
        ordering = ["again_at", "pk"]

    def __str__(self) -> str:
        return self.subject
