"""Looking up what is known of one connection, one line, one club, and whatever bears a name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from django.contrib.auth.models import AnonymousUser, User
from django.db.models import Count, F, Q, QuerySet

from results.catalogue.connections import connections_visible_to
from results.models import Connection, NormalisedSet, Pool
from results.models.lifecycle import COUNTING
from results.pools.selectors import pools
from results.public.rows import proposals_for, rigs_named_for
from rigs.models import Club, Contributor, Line, Rig
from rigs.selectors import contributors

MOST_FOUND = 20
MOST_SUGGESTED, NEAR = 5, 0.7
"""How alike a suggested name is to what was asked: 1 is the same (Ratcliff and Obershelp)."""


@dataclass(frozen=True)
class SearchResults:
    """What a search finds, at most MOST_FOUND of each."""

    connections: list[Connection]
    lines: list[Line]
    testers: list[Contributor]
    clubs: list[Club]
    rigs: list[Rig]

    def __bool__(self) -> bool:
        return any(vars(self).values())


def search(user: User | AnonymousUser, words: str) -> SearchResults:
    """Everything with all of these words in its name."""
    named, joins = Q(), Q()
    handled, owned = Q(), Q()
    for word in words.split():
        named &= Q(name__icontains=word)
        joins &= Q(name__icontains=word) | Q(aliases__name__icontains=word)
        handled &= Q(handle__icontains=word)
        owned &= Q(name__icontains=word) | Q(owner__handle__icontains=word)
    listed = Rig.objects.filter(
        owned, rigs_named_for(user), owner__shows_rigs=True, owner__closed_at=None
    )
    return SearchResults(
        connections=list(connections_visible_to(user).filter(joins).distinct()[:MOST_FOUND]),
        lines=list(lines_visible_to(user).filter(named)[:MOST_FOUND]),
        testers=list(contributors().filter(handled)[:MOST_FOUND]),
        clubs=list(Club.objects.filter(named)[:MOST_FOUND]),
        rigs=list(listed.select_related("owner").order_by("name")[:MOST_FOUND]),
    )


def near_names(user: User | AnonymousUser, words: str) -> list[Connection | Line]:
    """Joins and lines with names or other names near these words, the nearest first."""
    asked = words.casefold().strip()
    if not asked:
        return []
    joins = connections_visible_to(user).values_list("pk", "name", "aliases__name")
    lines = lines_visible_to(user).values_list("pk", "name")
    of_name: dict[str, tuple[type[Connection | Line], int]] = {}
    for pk, *names in joins:
        of_name |= {name.casefold(): (Connection, pk) for name in names if name}
    for pk, name in lines:
        of_name.setdefault(name.casefold(), (Line, pk))
    nearest = [of_name[name] for name in _nearest(asked, of_name)]
    found = {
        model: model._base_manager.in_bulk([pk for kind, pk in nearest if kind is model])
        for model in (Connection, Line)
    }
    return [found[model][pk] for model, pk in dict.fromkeys(nearest)][:MOST_SUGGESTED]


def _nearest(asked: str, names: Collection[str]) -> list[str]:
    """Names near to what was asked as a whole, or of which a word is near to a word of it."""
    whole = get_close_matches(asked, names, MOST_SUGGESTED, NEAR)
    with_word: dict[str, list[str]] = defaultdict(list)
    for name in names:
        for word in name.replace(",", " ").split():
            with_word[word].append(name)
    for word in asked.split():
        for near in get_close_matches(word, with_word, MOST_SUGGESTED, NEAR):
            whole += with_word[near]
    return list(dict.fromkeys(whole))


def lines_visible_to(user: User | AnonymousUser) -> QuerySet[Line]:
    """Accepted lines, one's own proposals, and all proposals for a moderator."""
    lines = Line.objects.select_related("proposed_by").order_by("name", "id")
    return lines.filter(proposals_for(user))


def pools_of(connection: Connection) -> QuerySet[Pool]:
    """Pools of a connection, line pair by line pair."""
    return pools().filter(connection=connection).defer("current__figures")


def straight_strengths_of(line: Line) -> QuerySet[NormalisedSet, Any]:
    """Straight-line strengths of a line in newtons, one per baseline, the newest first."""
    return (
        NormalisedSet.objects.filter(baseline__line=line, pull_set__state__in=COUNTING)
        .values(
            "baseline",
            straight_N=F("baseline_mean_N"),
            straight_cv=F("baseline_cv"),
            straight_pulls=F("baseline_counted"),
            session=F("baseline__session"),
            handle=F("baseline__session__contributor__handle"),
            pulled_on=F("baseline__session__pulled_on"),
            state=F("baseline__session__state"),
        )
        .order_by("-baseline__session__pulled_on", "baseline")
        .distinct()
    )


def pools_on(line: Line) -> QuerySet[Pool]:
    """Pools with counting sets tied in a line, with how many: ``on_it``."""
    tied = Q(normalised_sets__pull_set__main_line=line) | Q(
        normalised_sets__pull_set__leader_line=line
    )
    counting = Q(normalised_sets__pull_set__state__in=COUNTING)
    on_it = Count("normalised_sets", filter=tied & counting)
    return (
        pools().filter(tied & counting).defer("current__figures").annotate(on_it=on_it).distinct()
    )


def members_of_club(club: Club) -> QuerySet[Contributor]:
    """Members who show their club, with how many of their sets count: ``counting``."""
    counting = Q(sessions__pull_sets__state__in=COUNTING)
    return (
        Contributor.objects.filter(club=club, shows_club=True, closed_at=None)
        .annotate(counting=Count("sessions__pull_sets", filter=counting))
        .order_by("-counting", "handle")
    )
