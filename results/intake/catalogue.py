"""Rigs, lines and connections by the names that testers use for them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from django.db.models import Q, QuerySet
from django.utils.translation import gettext

from results.intake.cells import folded
from results.intake.findings import Findings, Missing, nearest
from results.intake.limits import MOST_SUGGESTIONS
from results.models import Connection, ConnectionAlias, Proposal
from rigs.models import Contributor, Line

Entry = TypeVar("Entry", Line, Connection)


@dataclass(frozen=True)
class Catalogue(Generic[Entry]):
    """Entries by the names that were looked up; ``names`` holds all existing names."""

    what: str
    kind: Proposal.Kind
    entries: Mapping[str, Entry]
    names: tuple[str, ...]
    suggested: dict[str, str] = field(default_factory=dict)

    def find(self, name: str, place: str, member: str, findings: Findings) -> Entry | None:
        """The entry of this name, or None and a finding; a blank name was refused before."""
        entry = self.entries.get(name)
        if entry is None and name:
            expected = gettext("a %(what)s of the catalogue%(name)s") % {
                "what": self.what,
                "name": self._like(name),
            }
            findings.lacks(Missing(self.kind, name), place, member, expected)
        return entry

    def _like(self, name: str) -> str:
        if name not in self.suggested:
            if len(self.suggested) >= MOST_SUGGESTIONS or not self.names:
                return ""
            self.suggested[name] = f": {nearest(name, self.names)}"
        return self.suggested[name]


class Named:
    """Ids by the names that people write; where two are written alike, by the exact one alone."""

    def __init__(self, written: Iterable[tuple[str, int]]) -> None:
        self._exact: dict[str, int] = {}
        self._alike: dict[str, set[int]] = defaultdict(set)
        for name, pk in written:
            self._exact[name.casefold()] = pk
            self._alike[folded(name)].add(pk)

    def find(self, name: str) -> int | None:
        """The id behind a name; None where nothing is called so, or more than one may be meant."""
        exact = self._exact.get(name.strip().casefold())
        alike = self._alike.get(folded(name), set())
        return exact if exact is not None or len(alike) != 1 else next(iter(alike))

    def meant(self, names: Iterable[str]) -> dict[str, int]:
        """The id behind each name that is known."""
        sought = ((name, self.find(name)) for name in names)
        return {name: pk for name, pk in sought if pk is not None}


def usable_by(contributor: Contributor) -> Q:
    """What is accepted, and what this contributor has proposed."""
    return Q(accepted=True) | Q(proposed_by=contributor)


def _proposed(contributor: Contributor, kind: Proposal.Kind) -> QuerySet[Proposal]:
    """One's proposals of a kind that a moderator gave a meaning."""
    decided = [Proposal.State.ACCEPTED, Proposal.State.MAPPED]
    return Proposal.objects.filter(contributor=contributor, kind=kind, state__in=decided)


def proposed_parameters(contributor: Contributor) -> dict[int, dict[str, str]]:
    """By connection the names of parameters that one proposed, and those that they mean."""
    found: dict[int, dict[str, str]] = defaultdict(dict)
    proposals = _proposed(contributor, Proposal.Kind.PARAMETER)
    for connection, name, means in proposals.values_list(
        "connection_id", "name", "became_parameter__name"
    ):
        if connection is not None and means is not None:
            found[connection][name] = means
    return found


def _exactly(usable: QuerySet[Entry], names: Collection[str]) -> dict[str, Entry] | None:
    """The entries of these names, letter by letter, in one query; None unless there is one of each.

    That goes before whatever is spelt alike, so that a whole catalogue need not be read.
    """
    sought = {name for name in names if name}
    found = {entry.name: entry for entry in usable.filter(name__in=sought)} if sought else {}
    return found if len(found) == len(sought) else None


def lines_for(contributor: Contributor, names: Iterable[str]) -> Catalogue[Line]:
    """The lines of these names that this contributor may use."""
    usable = Line.objects.filter(usable_by(contributor)).order_by("accepted", "pk")
    names = set(names)
    exactly = _exactly(usable, names)
    if exactly is not None:
        return Catalogue("line", Proposal.Kind.LINE, exactly, ())
    written = list(usable.values_list("name", "pk"))
    proposed = _proposed(contributor, Proposal.Kind.LINE).values_list("name", "became_line_id")
    meant = Named([*proposed, *written]).meant(names)
    found = Line.objects.in_bulk(set(meant.values()))
    return Catalogue(
        "line",
        Proposal.Kind.LINE,
        {name: found[pk] for name, pk in meant.items()},
        tuple(sorted(name for name, _ in written)),
    )


def connections_for(
    contributor: Contributor, names: Iterable[str], *, with_parameters: bool
) -> Catalogue[Connection]:
    """The connections of these names or aliases, with their parameters at hand where asked for."""
    at_hand = ["parameters"] if with_parameters else []
    usable = Connection.objects.filter(usable_by(contributor)).order_by("accepted", "pk")
    names = set(names)
    exactly = _exactly(usable.prefetch_related(*at_hand), names)
    if exactly is not None:
        return Catalogue("connection", Proposal.Kind.JOIN, exactly, ())
    written = list(usable.values_list("name", "pk"))
    aliases = ConnectionAlias.objects.filter(connection__in=usable)
    written = [*aliases.values_list("name", "connection_id"), *written]
    proposed = _proposed(contributor, Proposal.Kind.JOIN).values_list(
        "name", "became_connection_id"
    )
    meant = Named([*proposed, *written]).meant(names)
    found = Connection.objects.prefetch_related(*at_hand).in_bulk(set(meant.values()))
    return Catalogue(
        "connection",
        Proposal.Kind.JOIN,
        {name: found[pk] for name, pk in meant.items()},
        tuple(sorted(name for name, _ in written)),
    )
