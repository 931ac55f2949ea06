"""A contributor reads what became of their sets."""

from __future__ import annotations

from django.db.models import QuerySet
from django.utils import timezone

from results.models import Notice
from rigs.models import Contributor


def notices_of(contributor: Contributor) -> QuerySet[Notice]:
    """A contributor's notices, newest first."""
    return (
        Notice.objects.filter(to=contributor)
        .select_related("pull_set__session", "pull_set__connection")
        .order_by("-pk")
    )


def mark_read(contributor: Contributor) -> int:
    """Note that the contributor has read what there was; returns how many were new."""
    return Notice.objects.filter(to=contributor, read_at__isnull=True).update(
        read_at=timezone.now()
    )
