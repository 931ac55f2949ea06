"""A contributor reads what became of their sets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext

from results.models import Notice, Session
from results.notices import address_of
from results.review.selectors import said_beyond
from rigs.models import Contributor


def notices_of(contributor: Contributor) -> QuerySet[Notice]:
    """A contributor's notices, newest first."""
    return (
        Notice.objects.filter(to=contributor)
        .select_related(
            "pull_set__session",
            "pull_set__connection",
            "baseline__session__revision__rig",
            "round",
        )
        .order_by("-pk")
    )


def name_of(notice: Notice) -> str:
    """What a notice is about, in words that its receiver knows it by; never empty.

    By the notice's kind: a notice of an account or a round names a set for API version 1 alone.
    """
    if notice.about == Notice.About.CHART and notice.baseline is not None:
        session = notice.baseline.session
        return _on_its_day(session.revision.rig.name, session)
    if notice.about == Notice.About.WAITING:
        return gettext("A session that waits")
    if notice.about == Notice.About.ROUND and notice.round is not None:
        return notice.round.title
    about_a_set = notice.about in (Notice.About.SET, Notice.About.THREAD)
    if about_a_set and notice.pull_set is not None:
        return _on_its_day(str(notice.pull_set), notice.pull_set.session)
    return gettext("Your account")


def _on_its_day(name: str, session: Session) -> str:
    return f"{name}, {date_format(session.pulled_on, 'DATE_FORMAT')}"


@dataclass(frozen=True)
class ShownNotice:
    """A notice with the name and the page of what it is about, and what it says."""

    notice: Notice
    name: str
    address: str
    text: str


def shown_notices(
    notices: Iterable[Notice], said: Mapping[int, Sequence[str]]
) -> list[ShownNotice]:
    """Each notice as its receiver reads it, on a page that has ``said`` so much of sets by id."""
    return [
        ShownNotice(notice, name_of(notice), address_of(notice), _text_of(notice, said.get(of, ())))
        for notice in notices
        for of in [notice.pull_set_id or 0]
    ]


def _text_of(notice: Notice, said: Sequence[str]) -> str:
    left = said_beyond(notice.text, said)
    if not said or left == said_beyond(notice.text, ()):
        return notice.text
    return f"{left} {gettext('The rest stands with the set below.')}"


def mark_read(contributor: Contributor, shown: Sequence[int] | None = None) -> int:
    """Note that the contributor has read what there was, or the notices ``shown`` by id alone.

    Returns how many were new.
    """
    unread = Notice.objects.filter(to=contributor, read_at__isnull=True)
    if shown is not None:
        unread = unread.filter(pk__in=shown)
    return unread.update(read_at=timezone.now())
