"""Contributors, and the clubs they belong to."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext


def written(account: Any) -> str:
    """An account as others may read it: by its handle, or by its number where it has none."""
    contributor = getattr(account, "contributor", None)
    return contributor.handle if contributor else gettext("account %(pk)s") % {"pk": account.pk}


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
    def suspension(self) -> Suspension | None:
        """The suspension that holds now, if one does."""
        return next((one for one in self.suspensions.all() if one.lifted_at is None), None)

    @property
    def public_club(self) -> Club | None:
        """The club, where the contributor lets it be shown."""
        return self.club if self.shows_club else None

    @property
    def public_rigs(self) -> list[Any]:
        """The rigs, where the contributor lets them be listed."""
        return list(self.rigs.all()) if self.shows_rigs else []


class Suspension(models.Model):
    """That a moderator keeps a contributor from uploading, from one instant until another.

    ``held`` names the changes of state by which sets were held with it.
    """

    contributor = models.ForeignKey(
        Contributor, on_delete=models.PROTECT, related_name="suspensions"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    at = models.DateTimeField(auto_now_add=True)
    held = models.JSONField(default=list)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    lifted_reason = models.TextField(blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["contributor"],
                condition=models.Q(lifted_at__isnull=True),
                name="contributor_is_suspended_once",
            ),
        ]

    def __str__(self) -> str:
        return f"suspension of contributor {self.contributor_id}"
