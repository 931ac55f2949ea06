"""The catalogue of connections: a join's trade name, its other names, and how it is tied."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext

from rigs.models import Contributor


class Connection(models.Model):
    """A join, by its trade name."""

    class Kind(models.TextChoices):
        LINE_TO_LINE = "line to line"
        LINE_TO_TERMINAL = "line to terminal"
        LOOP = "loop or doubled line"
        SPLICE = "splice"
        CRIMP = "crimp"

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=30, choices=Kind.choices)
    description = models.TextField(blank=True)
    tools = models.CharField(
        max_length=200,
        blank=True,
        db_default="",
        help_text="what tying it needs beside fingers, or 'none'; empty where nobody has said",
    )
    slim = models.BooleanField(
        null=True,
        blank=True,
        help_text="whether it runs through rod rings easily, for where no set measured it",
    )
    quick = models.BooleanField(
        null=True,
        blank=True,
        help_text="whether it is tied within a minute, for where no set recorded the time",
    )
    proposed_by = models.ForeignKey(
        Contributor,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="proposed_connections",
    )
    accepted = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="connection_name_is_unique"),
        ]

    def __str__(self) -> str:
        return self.name


def tie_of(join: str, doubled: bool) -> str:
    """A join by its name, and its variant, as a tester would say it."""
    return gettext("%(join)s, doubled") % {"join": join} if doubled else join


class ConnectionAlias(models.Model):
    """Another name that testers use for a connection."""

    connection = models.ForeignKey(Connection, on_delete=models.CASCADE, related_name="aliases")
    name = models.CharField(max_length=120)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "connection aliases"
        constraints = [
            models.UniqueConstraint(Lower("name"), name="connection_alias_is_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class TieParameter(models.Model):
    """One thing to say of how a connection is tied, with its type and range."""

    class Type(models.TextChoices):
        INTEGER = "integer"
        NUMBER = "number"
        YES_NO = "yes or no"
        CHOICE = "choice"

    connection = models.ForeignKey(Connection, on_delete=models.CASCADE, related_name="parameters")
    name = models.CharField(max_length=60)
    type = models.CharField(max_length=12, choices=Type.choices)
    unit = models.CharField(max_length=20, blank=True)
    lowest = models.FloatField(null=True, blank=True)
    highest = models.FloatField(null=True, blank=True)
    choices = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["connection_id", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["connection", "name"], name="tie_parameter_is_unique_to_its_connection"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.connection}: {self.name}"
