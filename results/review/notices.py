"""A contributor reads what became of their sets."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone

from results.models import Notice, Round
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


def address_of(notice: Notice) -> str:
    """The page that a notice is about, which its receiver can open."""
    if notice.about == Notice.About.CHART and notice.baseline is not None:
        return reverse("pages:rig", args=[notice.baseline.session.revision.rig_id])
    if notice.about == Notice.About.THREAD:
        return f"{reverse('pages:account')}#thread-{notice.pull_set_id}"
    if notice.about == Notice.About.WAITING and notice.waiting_id is not None:
        return reverse("pages:waiting-session", args=[notice.waiting_id])
    if notice.about == Notice.About.ROUND and notice.round is not None:
        closed = notice.round.state == Round.State.CLOSED
        return reverse(
            "pages:own-round-report" if closed else "pages:round", args=[notice.round_id]
        )
    if notice.about == Notice.About.SET and notice.pull_set_id is not None:
        return reverse("pages:pull-set", args=[notice.pull_set_id])
    return reverse("pages:account")


def with_addresses(notices: Iterable[Notice]) -> list[tuple[Notice, str]]:
    """Each notice with the page that it is about."""
    return [(notice, address_of(notice)) for notice in notices]


def mark_read(contributor: Contributor) -> int:
    """Note that the contributor has read what there was; returns how many were new."""
    return Notice.objects.filter(to=contributor, read_at__isnull=True).update(
        read_at=timezone.now()
    )
