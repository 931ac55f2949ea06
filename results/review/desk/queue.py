"""The queue of the moderators' desk: what its columns and filters ask of a case."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import admin
from django.db.models import F, Max, Q, QuerySet
from django.db.models.functions import Abs
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from results.models import Message, ReviewCase
from results.models.screening import APPEALED, OPEN

ANSWERED = Q(answered_at__isnull=False) & (
    Q(asked_at__isnull=True) | Q(answered_at__gt=F("asked_at"))
)
"""The tester has written since a moderator last did."""
ASKED = Q(asked_at__isnull=False) & (
    Q(answered_at__isnull=True) | Q(answered_at__lte=F("asked_at"))
)

Cases = QuerySet[ReviewCase]
FAILED = "failed"
"""The filter that leaves what failed alone, which the queue lists before its cases."""
FILTERS: dict[str, Callable[[Cases], Cases]] = {
    "appealed": lambda cases: cases.filter(APPEALED),
    "answered": lambda cases: cases.filter(OPEN & ANSWERED),
    "asked": lambda cases: cases.filter(OPEN & ASKED),
    FAILED: lambda cases: cases.none(),
    "no": lambda cases: cases.exclude(OPEN),
    "all": lambda cases: cases,
}


def with_messages(cases: Cases) -> Cases:
    """Cases with ``asked_at`` and ``answered_at``: when a moderator and the tester last wrote."""
    asked = Q(pull_set__messages__kind__in=[Message.Kind.QUESTION, Message.Kind.DECISION])
    answered = Q(pull_set__messages__kind__in=[Message.Kind.ANSWER, Message.Kind.APPEAL])
    written = "pull_set__messages__at"
    return cases.annotate(
        asked_at=Max(written, filter=asked), answered_at=Max(written, filter=answered)
    )


def next_open(after: ReviewCase) -> ReviewCase | None:
    """The open case to look at next: in the order of the queue, another one than this."""
    return in_order(ReviewCase.objects.still_open().exclude(pk=after.pk)).first()


def in_order(cases: Cases) -> Cases:
    """Those first that would move their pool the most, then by age."""
    return cases.order_by(Abs("pool_shift").desc(nulls_last=True), "opened_at", "pk")


class Waiting(admin.SimpleListFilter):
    """Open cases, unless others are requested."""

    title = "waiting"
    parameter_name = "waiting"

    def lookups(
        self, _request: HttpRequest, _admin: admin.ModelAdmin[Any]
    ) -> list[tuple[str, Any]]:
        return [
            ("answered", _("answered by the tester")),
            ("asked", _("asked, no answer yet")),
            ("appealed", _("appealed")),
            (FAILED, _("failed")),
            ("no", _("decided")),
            ("all", _("all")),
        ]

    def queryset(self, _request: HttpRequest, cases: Cases) -> Cases:
        chosen = FILTERS.get(str(self.value()))
        return chosen(cases) if chosen else cases.filter(OPEN)

    def choices(self, changelist: Any) -> Any:
        first, *rest = super().choices(changelist)
        yield {**first, "display": _("open")}
        yield from rest
