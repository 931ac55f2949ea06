"""Names in public: a moderator accepts what testers named, so that everyone may read it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Model
from django.utils.translation import gettext
from rules.permissions import add_perm

from results.http_cache.cache_marks import next_edition
from results.models import AcceptedName, Baseline, Edition, PullSet, Round, RoundLot
from results.public.names import TERMINALS
from rigs.models import Rig
from rigs.permissions import is_moderator, may
from rigs.refusals import Forbidden

add_perm("results.accept_name", is_moderator)

Kind = AcceptedName.Kind
WAITING_SHOWN = 200
SOURCES: tuple[tuple[Kind, type[Model], str, str], ...] = (
    (Kind.RIG, Rig, "name", "owner__closed_at"),
    (Kind.SPOOL, Baseline, "spool", "session__contributor__closed_at"),
    (Kind.SPOOL, PullSet, "main_spool", "session__contributor__closed_at"),
    (Kind.SPOOL, PullSet, "leader_spool", "session__contributor__closed_at"),
    (Kind.LABEL, PullSet, "label", "session__contributor__closed_at"),
    (Kind.TERMINAL, PullSet, "terminal", "session__contributor__closed_at"),
    (Kind.ROUND, Round, "title", "organiser__closed_at"),
    (Kind.SPOOL, RoundLot, "spool", "round__organiser__closed_at"),
)


@dataclass(frozen=True)
class WaitingName:
    """A name that no moderator has accepted yet."""

    kind: Kind
    text: str


def accept_names(by: User, kind: Kind, texts: Collection[str]) -> int:
    """Let everyone read these texts as names of this kind; returns how many were new.

    Who accepted each, and when, is kept with it. One transaction; inserts rows, and locks the row
    of the edition of names. Raises Forbidden unless ``by`` is a moderator.
    """
    if not may(by, "results.accept_name"):
        raise Forbidden(gettext("Only a moderator accepts names."))
    return _store(by, kind, texts)


def accept_from_the_beginning(kind: Kind, texts: Collection[str]) -> int:
    """The same for names that no person had to look at: those of a catalogue that comes along."""
    return _store(None, kind, texts)


def waiting_names() -> list[WaitingName]:
    """Names that no moderator has accepted, by kind, the first WAITING_SHOWN of each source."""
    found = {WaitingName(kind, text) for kind, text in _waiting()}
    return sorted(found, key=lambda one: (one.kind, one.text.casefold(), one.text))


def _waiting() -> Iterator[tuple[Kind, str]]:
    for kind, model, field, closed in SOURCES:
        known = AcceptedName.objects.filter(kind=kind).values("text")
        rows = model._default_manager.filter(**{f"{closed}__isnull": True})
        texts = rows.exclude(**{field: ""}).exclude(**{f"{field}__in": known})
        if kind == Kind.TERMINAL:
            texts = texts.exclude(**{f"{field}__in": TERMINALS})
        for text in texts.order_by(field).values_list(field, flat=True).distinct()[:WAITING_SHOWN]:
            yield kind, text


def _store(by: User | None, kind: Kind, texts: Collection[str]) -> int:
    with transaction.atomic():
        known = set(AcceptedName.objects.filter(kind=kind, text__in=texts).values_list("text"))
        new = sorted({text for text in texts if text and (text,) not in known})
        AcceptedName.objects.bulk_create(
            (AcceptedName(kind=kind, text=text, accepted_by=by) for text in new),
            ignore_conflicts=True,
        )
        if new:
            next_edition(Edition.Subject.NAMES)
    return len(new)
