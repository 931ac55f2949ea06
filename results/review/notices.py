"""A contributor reads what became of their sets."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils import timezone

from results.models import Notice
from results.notices import address_of
from rigs.models import Contributor


def notices_of(contributor: Contributor) -> QuerySet[Notice]:
    """A contributor's notices, newest first."""
    return (
        Notice.objects.filter(to=contributor)
        .select_related(
            "pull_set__session", "pull_set__connection", "baseline__session__revision", "round"
        )
        .order_by("-pk")
    )


def with_addresses(notices: Iterable[Notice]) -> list[tuple[Notice, str]]:
    """Each notice with the page that it is about."""
    return [(notice, address_of(notice)) for notice in notices]


def mark_read(contributor: Contributor) -> int:
    """Note that the contributor has read what there was; returns how many were new."""
    return Notice.objects.filter(to=contributor, read_at__isnull=True).update(
        read_at=timezone.now()
    )
