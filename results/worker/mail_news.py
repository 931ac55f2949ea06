"""Mail what is new to those who follow it and asked for mail.

A mail is written off as sent before it goes out: where a worker ends in between, or the answer of
the mail server is lost, no one gets it twice. What the server refused is taken back and sent
again, with exponential backoff, together with what is new by then.
"""

from __future__ import annotations

import smtplib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import structlog
from allauth.account.models import EmailAddress
from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Now
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, override

from results.jobs.database_clock import from_now
from results.models import Mailing, PoolVersion
from results.notices import REFUSED, wait_after
from results.pools.news import SETTLED_AFTER, newest_settled, news_followed
from results.public.readers import Reader
from results.public.seeing import seen
from results.rounds.news import events_followed, in_words, newest_event_until, still_holds

log = structlog.get_logger(__name__)

AT_ONCE = 50
"""Mails that one run sends."""
MOST_LINES = 40
"""Pools that one mail names."""
MOST_VERSIONS = 2000
"""Versions that one mail gathers."""
INTERVALS = {Mailing.Every.DAY: timedelta(days=1), Mailing.Every.WEEK: timedelta(days=7)}
LEAVING = 421
"""The reply of a server that closes the connection (RFC 5321, 4.2.3)."""


@dataclass(frozen=True)
class Change:
    """What happened to one pool: its newest version, how many there were, the efficiency before.

    A version that is ``superseded`` already has its figure left out: the next mail has the new one.
    """

    version: PoolVersion
    versions: int
    before: float | None

    @property
    def superseded(self) -> bool:
        return self.version.pk != self.version.pool.current_id


@dataclass(frozen=True)
class Newest:
    """Up to which version of pools, and event of rounds, there can be nothing more to come."""

    version: int
    event: int

    def beyond(self, mailing: Mailing) -> dict[str, int]:
        """How far a mailing gets with this: never back to before what it has covered."""
        return {
            "through": max(self.version, mailing.through),
            "rounds_through": max(self.event, mailing.rounds_through),
        }


def mail_news() -> None:
    """Send what is due, in one connection; the next run goes on with the rest."""
    if not (settings.SAMESPOOL_MAIL_FROM and settings.SAMESPOOL_ADDRESS):
        return
    newest = Newest(newest_settled(), newest_event_until(timezone.now() - SETTLED_AFTER))
    due = list(_due(newest)[:AT_ONCE])
    if not due:
        return
    connection: BaseEmailBackend = get_connection()
    try:
        connection.open()
    except (OSError, smtplib.SMTPException) as error:
        log.warning("no mail server: news is mailed later", error=str(error))
        for mailing in due:
            _try_again(mailing)
        return
    try:
        for mailing in due:
            if not _mail(mailing, newest, connection):
                break
    finally:
        connection.close()


def _due(newest: Newest) -> QuerySet[Mailing]:
    """Mailings with versions or events that they have not covered, whose time has come."""
    confirmed = EmailAddress.objects.filter(
        user=OuterRef("contributor__user"),
        email=OuterRef("contributor__user__email"),
        verified=True,
    )
    time_has_come = Q()
    for every, interval in INTERVALS.items():
        since = from_now(-interval.total_seconds())
        time_has_come |= Q(every=every) & (Q(mailed_at=None) | Q(mailed_at__lte=since))
    return (
        Mailing.objects.select_related("contributor__user")
        .filter(time_has_come, Q(again_at=None) | Q(again_at__lte=Now()), Exists(confirmed))
        .filter(
            Q(through__lt=newest.version) | Q(rounds_through__lt=newest.event),
            contributor__closed_at=None,
        )
        .order_by(F("mailed_at").asc(nulls_first=True), "pk")
    )


def _mail(mailing: Mailing, newest: Newest, connection: BaseEmailBackend) -> bool:
    """Mail one contributor what is new to them; False where the connection is of no more use."""
    if _is_going_on(mailing, newest):
        return True
    changes, happened = _changes(mailing, newest), _happened(mailing, newest)
    before = {"through": mailing.through, "rounds_through": mailing.rounds_through}
    taken = Mailing.objects.filter(pk=mailing.pk, every=mailing.every, **before)
    if not (changes or happened):
        taken.update(**newest.beyond(mailing))
        return True
    if not taken.update(**newest.beyond(mailing), mailed_at=Now(), again_at=None):
        return True  # another worker has it, or they chose otherwise meanwhile
    try:
        connection.send_messages([_message(mailing, changes, happened)])
    except REFUSED as error:
        log.warning("news refused by the mail server", mailing=mailing.pk, error=str(error))
        _take_back(mailing, newest)
        return _goes_on(error)
    except (OSError, smtplib.SMTPException) as error:
        log.warning("unclear whether news was mailed", mailing=mailing.pk, error=str(error))
        return False
    Mailing.objects.filter(pk=mailing.pk).update(refused=0)
    return True


def _changes(mailing: Mailing, newest: Newest) -> list[Change]:
    """What is new of each pool that is followed, the latest first.

    A figure that was taken down waits for the version in its place.
    """
    versions = news_followed(mailing.contributor.follows.all()).filter(
        pk__gt=mailing.through, pk__lte=newest.version
    )
    by_pool: dict[int, list[PoolVersion]] = {}
    for version in versions[:MOST_VERSIONS]:
        if version.taken_down_at is None:
            by_pool.setdefault(version.pool_id, []).append(version)
    return [Change(each[0], len(each), each[-1].before) for each in by_pool.values()]


def _is_going_on(mailing: Mailing, newest: Newest) -> bool:
    """Whether a round that is followed has just moved on: the day's one mail waits to say all."""
    followed = events_followed(mailing.contributor.follows.all())
    return followed.filter(pk__gt=newest.event).exists()


def _happened(mailing: Mailing, newest: Newest) -> list[tuple[Any, str]]:
    """What happened in the rounds that are followed, the latest first: as everyone reads it.

    Without what has been overtaken since.
    """
    found = events_followed(mailing.contributor.follows.all()).filter(
        pk__gt=mailing.rounds_through, pk__lte=newest.event
    )
    with override(settings.LANGUAGE_CODE):
        return [
            (seen(one.round, Reader()), in_words(one))
            for one in found[:MOST_LINES]
            if still_holds(one)
        ]


def _message(
    mailing: Mailing, changes: Sequence[Change], happened: Sequence[tuple[Any, str]]
) -> EmailMessage:
    """The mail, with a link that ends it by one click (RFC 8058) and no signing in."""
    end = settings.SAMESPOOL_ADDRESS + reverse("pages:end-mail", args=(mailing.key,))
    names = {
        "changes": changes[:MOST_LINES],
        "more": len(changes) - MOST_LINES,
        "happened": happened,
        "end": end,
    }
    with override(settings.LANGUAGE_CODE):
        text = render_to_string(
            "pages/following/news.txt", names | {"address": settings.SAMESPOOL_ADDRESS}
        )
        subject = gettext("Samespool: what is new of what you follow")
    headers = {
        "List-Unsubscribe": f"<{end}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }
    to = [mailing.contributor.user.email]
    return EmailMessage(subject, text, settings.SAMESPOOL_MAIL_FROM, to, headers=headers)


def _goes_on(refusal: Exception) -> bool:
    """Whether the server takes another mail: it refused this recipient alone, and did not leave."""
    if not isinstance(refusal, smtplib.SMTPRecipientsRefused):
        return False
    return all(code != LEAVING for code, _reason in refusal.recipients.values())


def _take_back(mailing: Mailing, newest: Newest) -> None:
    sent = Mailing.objects.filter(pk=mailing.pk, **newest.beyond(mailing))
    before = {"through": mailing.through, "rounds_through": mailing.rounds_through}
    if sent.update(**before, mailed_at=mailing.mailed_at):
        _try_again(mailing)


def _try_again(mailing: Mailing) -> None:
    """After twice as long as the last time, and a day at most."""
    Mailing.objects.filter(pk=mailing.pk).update(
        refused=F("refused") + 1, again_at=from_now(wait_after(mailing.refused))
    )
