"""Who reads, and what the declaration lets them read of a row."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.db.models import Model

from results.models import Pool, PullSet, Session
from results.public import names
from results.public.declared import DECLARED, rules_of
from results.public.quantities import is_quantity, to_two_figures
from results.public.rules import PART, SELF, Rule
from rigs.models import Contributor
from rigs.permissions import Account, is_moderator


class Hidden(Exception):
    """A field that this reader may not read. A template shows nothing, a document leaves it out."""

    silent_variable_failure = True


class Reader:
    """One reader, for as long as one request takes. ``user`` is an account or anonymous."""

    def __init__(self, user: Account | None = None) -> None:
        self.user = user or AnonymousUser()
        self.pk: int | None = self.user.pk
        self.moderates = bool(self.pk and is_moderator(self.user))
        self._accepted: set[tuple[str, str]] | None = None

    def value(self, row: Model, name: str) -> Any:
        """A field as this reader may read it. Raises Hidden."""
        rule = Rule.PUBLIC if name == "pk" else rules_of(type(row))[name]
        if rule is Rule.PUBLIC or self.moderates:
            return getattr(row, name)
        if rule is Rule.NAME:
            return self._name(row, name)
        found = getattr(row, name)
        if _PUBLIC_WHERE[rule](row, found) or self.owns(row):
            return found
        if rule is Rule.ROUNDED:
            return to_two_figures(found)
        raise Hidden(f"{name} of {row._meta.label} is not public.")

    def may_open(self, row: Any) -> bool:
        """Whether a join, a line, a pool or a set has an address that answers this reader."""
        if isinstance(row, Pool):
            known = self.is_public_name(names.Kind.TERMINAL, row.terminal) or not row.terminal
            return row.current_id is not None and row.connection.accepted and known
        if isinstance(row, PullSet):
            stands = row.session.standing != Session.Standing.WITHDRAWN
            return stands or self.moderates or self.owns(row)
        return bool(row.accepted or self.moderates or self.owns(row))

    def owns(self, row: Model) -> bool:
        """Whether the row is this reader's own."""
        if self.pk is None:
            return False
        if row._meta.label in DECLARED:
            return self._contributor is not None and _contributor_of(row) == self._contributor
        return self.pk == (row.pk if isinstance(row, User) else getattr(row, "user_id", None))

    @cached_property
    def _contributor(self) -> int | None:
        """Id of the reader's own contributor."""
        return Contributor.objects.filter(user=self.pk).values_list("pk", flat=True).first()

    def reads_all_of(self, row: Model) -> bool:
        """Whether nothing of the row is hidden from this reader."""
        return self.moderates or self.owns(row)

    def is_public_name(self, kind: str, text: str) -> bool:
        """Whether a moderator, or the service from the beginning, has accepted this text."""
        if self._accepted is None:
            self._accepted = names.accepted_texts()
        return (kind, text) in self._accepted

    def _name(self, row: Any, name: str) -> str:
        written: str = getattr(row, name)
        if not written:
            return written
        kind = names.KINDS.get((row._meta.label, name))
        if self.owns(row):
            return written
        accepted = row.accepted if kind is None else self.is_public_name(kind, written)
        if accepted:
            signer = names.signer_of(row)
            if signer is None or signer.closed_at is None:
                return written
        return names.designation(row, name)


def _is_accepted(row: Any) -> bool:
    return bool(row.accepted if hasattr(row, "accepted") else row.connection.accepted)


_PUBLIC_WHERE: dict[Rule, Callable[[Any, Any], bool]] = {
    Rule.QUANTITY: lambda _row, found: is_quantity(found),
    Rule.ACCEPTED: lambda row, _found: _is_accepted(row),
    Rule.SERVICE: lambda row, _found: row.by_id is None,
    Rule.ROUNDED: lambda _row, _found: False,
    Rule.PRIVATE: lambda _row, _found: False,
}


def reader_of(request: Any) -> Reader:
    """The reader who sent a request, of Django or of REST framework; the same one all through."""
    inner = getattr(request, "_request", request)
    kept: Reader | None = inner.__dict__.get("_reader")
    if kept is None or kept.user is not request.user:
        kept = inner._reader = Reader(request.user)
    return kept


def _contributor_of(row: Any) -> int | None:
    """Id of the contributor whose row it is. Reads what is not at hand of the rows between."""
    path = DECLARED[row._meta.label].owner
    *before, last = path.split(".")
    for step in before:
        if step == PART:
            row = row.pull_set if row.pull_set_id is not None else row.baseline
        else:
            row = getattr(row, step)
    if not last:
        return None
    found: int | None = row.pk if last == SELF else getattr(row, f"{last}_id")
    return found
