"""Contributors, and the clubs they belong to."""

from __future__ import annotations

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

    class Meta:
        ordering = ["handle"]
        constraints = [
            models.UniqueConstraint(Lower("handle"), name="contributor_handle_is_unique"),
        ]

    def __str__(self) -> str:
        return self.handle
