"""What is new of rounds, for those who follow them: what everyone may read, and no more."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext

from results.models import Follow, Round, RoundEvent


def events() -> QuerySet[RoundEvent]:
    """Of all rounds, the newest first."""
    return RoundEvent.objects.select_related("round__club", "round__organiser").order_by("-pk")


def events_followed(follows: Iterable[Follow]) -> QuerySet[RoundEvent]:
    """Of the rounds that are followed."""
    wanted = [each.number for each in follows if each.subject == Follow.Subject.ROUND]
    return events().filter(round__in=wanted)


def newest_event_until(moment: datetime) -> int:
    """The last event up to a moment; 0 before the first."""
    until = RoundEvent.objects.filter(at__lte=moment).order_by("-pk")
    return int(until.values_list("pk", flat=True).first() or 0)


def still_holds(event: RoundEvent) -> bool:
    """Whether what happened says how the round stands; an open round's last day is of no closed."""
    of_open_rounds = (RoundEvent.What.OPENED, RoundEvent.What.MOVED)
    is_open = event.round.state == Round.State.OPEN
    return event.what not in of_open_rounds or (
        is_open and event.results_by == event.round.results_by
    )


def in_words(event: RoundEvent) -> str:
    """What happened, in the reader's language."""
    until = date_format(event.results_by, "j M Y") if event.results_by else ""
    if event.what == RoundEvent.What.OPENED:
        return gettext("The round is open: results are in time until %(day)s.") % {"day": until}
    if event.what == RoundEvent.What.MOVED:
        was = date_format(event.was, "j M Y") if event.was else ""
        return gettext("The last day for results is now %(day)s; it was %(was)s.") % {
            "day": until,
            "was": was,
        }
    if event.what == RoundEvent.What.CLOSED:
        return gettext("The round is closed, and its report is being computed.")
    if event.version == 1:
        return gettext("The report is made.")
    return gettext(
        "The report has a new version, %(number)d, because what it is computed from has changed."
    ) % {"number": event.version}
