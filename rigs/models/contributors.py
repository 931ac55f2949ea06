"""Contributors, and the clubs they belong to."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower


class Club(models.Model):
    """A club whose members pull together."""

    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Contributor(models.Model):
    """A tester with an account: the public side of a user."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="contributor"
    )
    handle = models.CharField(max_length=60)
    club = models.ForeignKey(
        Club, null=True, blank=True, on_delete=models.SET_NULL, related_name="members"
    )
    joined_at = models.DateTimeField(auto_now_add=True)
    shows_club = models.BooleanField(default=True, db_default=True)
    shows_rigs = models.BooleanField(default=True, db_default=True)
    shows_sets = models.BooleanField(default=True, db_default=True)
    licence = models.CharField(
        max_length=40, blank=True, db_default="", help_text="SPDX identifier; empty before agreeing"
    )
    licence_agreed_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["handle"]
        constraints = [
            models.UniqueConstraint(Lower("handle"), name="contributor_handle_is_unique"),
        ]

    def __str__(self) -> str:
        return self.handle

    @property
    def public_club(self) -> Club | None:
        """The club, where the contributor lets it be shown."""
        return self.club if self.shows_club else None

    @property
    def public_rigs(self) -> list[Any]:
        """The rigs, where the contributor lets them be listed."""
        return list(self.rigs.all()) if self.shows_rigs else []
