"""The list of joins for one's two lines, ranked in groups that nothing separates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from results.http_cache.cache_marks import edition_of_pools
from results.http_cache.cached_view import cache_by_edition
from results.models import LINE_PAIR, Pool, PoolVersion
from results.pages.figures import conditions, line_pair
from results.pages.measures import COOKIE as MEASURES
from results.pages.own_line import BY_LABEL, STRENGTH, own_line_of
from results.pages.own_line import COOKIE as OWN_LINE
from results.pages.pools.filters import SAFE, Filters
from results.pages.pools.line_pair import query_of
from results.pages.pools.strips import Strip, strip_of
from results.pages.showing import render
from results.pools import selectors
from results.pools.conclusions import can_be_ranked, conclusions
from results.pools.ranking import Place, places
from results.statistics.pool_fit import LEAST_TESTERS

PAIRS_PER_PAGE = 10
KEY = LINE_PAIR


@dataclass(frozen=True)
class Entry:
    """A join of the list: its place, the letters of its groups, and the strip of its figures.

    ``near`` counts its sets on lines of about the requested sizes; None if none were requested.
    """

    place: Place
    letters: str
    strip: Strip | None
    near: int | None


@dataclass(frozen=True)
class Cluster:
    """Neighbours in the list that a group holds together.

    They are ``alike`` where one group holds them all, and ``lettered`` by their groups otherwise.
    """

    entries: Sequence[Entry]
    alike: bool = False
    lettered: bool = False


@dataclass(frozen=True)
class Section:
    """One line pair, wet or dry: its joins in order, and those that can't be ranked yet.

    ``best`` are those shown that nothing tells from the first. ``query`` asks the API for the same
    ranking, and ``left_out`` counts the joins of it that the reader's choice leaves out.
    """

    line_pair: str
    conditions: str
    query: str
    best: Sequence[Entry]
    clusters: Sequence[Cluster]
    unranked: Sequence[Pool]
    left_out: int


@require_safe
@cache_by_edition(edition_of_pools, cookies=(MEASURES, OWN_LINE))
def pool_list(request: HttpRequest) -> HttpResponse:
    """The joins of the lines that are asked for, in the order of what matters."""
    filters = Filters(request.GET)
    asked = filters.condition()
    pairs = selectors.pools().filter(asked).order_by(*KEY).values(*KEY).distinct()
    page = Paginator(pairs, PAIRS_PER_PAGE).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    sections = _sections(list(page), asked, filters)
    return render(
        request,
        "pages/pools/pool_list.html",
        {
            "filters": filters,
            "page": page,
            "sections": sections,
            "own_line": own_line_of(
                request, [entry.place.pool for each in sections for entry in _entries(each)]
            ),
            "safest_first": filters.asked.get("rank") == SAFE,
            "query": query.urlencode(),
            "permanent": _permanent(request),
            "least_testers": LEAST_TESTERS,
        },
    )


def _permanent(request: HttpRequest) -> str:
    """The address of what was chosen, without the reader's own line."""
    chosen = request.GET.copy()
    for own in (STRENGTH, BY_LABEL):
        chosen.pop(own, None)
    return f"{request.path}?{chosen.urlencode()}" if chosen else request.path


def _sections(pairs: Sequence[dict[str, Any]], asked: Q, filters: Filters) -> list[Section]:
    """A section a line pair. A join is ranked among all of its pair, also those filtered out."""
    if not pairs:
        return []
    of_pairs = Q()
    for pair in pairs:
        of_pairs |= Q(**pair)
    pools = list(selectors.pools().filter(of_pairs))
    compared = selectors.direct_comparisons(pairs)
    shown = set(selectors.pools().filter(of_pairs, asked).values_list("pk", flat=True))
    near, safest = _near(shown, filters), filters.asked.get("rank") == SAFE
    sections = []
    for pair in pairs:
        alike = [pool for pool in pools if all(getattr(pool, key) == pair[key] for key in KEY)]
        comparison = compared.get(selectors.key_of(pair))
        ranked = places(alike, conclusions(alike, comparison))
        sections.append(_section(alike, ranked, shown, near, safest_first=safest))
    return sections


def _near(shown: set[int], filters: Filters) -> dict[int, int] | None:
    """Sets of each pool near the requested sizes; None if no size was requested."""
    sizes = [filters.asked.get(name) for name in ("main_size", "leader_size")]
    return selectors.sets_near(shown, *sizes) if any(sizes) else None


def _section(
    pools: Sequence[Pool],
    ranked: Sequence[Place],
    shown: set[int],
    near: dict[int, int] | None,
    *,
    safest_first: bool,
) -> Section:
    clusters = []
    for together in _clusters(ranked):
        entries = [_entry(place, near) for place in together if place.pool.pk in shown]
        if entries:
            several = len(entries) > 1
            alike = several and len({place.groups for place in together}) == 1
            clusters.append(Cluster(entries, alike, several and not alike))
    if safest_first:
        clusters = _safest_first(clusters)
    unranked = [
        pool for pool in pools if pool.pk in shown and pool.current and not can_be_ranked(pool)
    ]
    first = pools[0]
    return Section(
        line_pair(first),
        conditions(first),
        query_of(first),
        [] if safest_first else _best(clusters),
        clusters,
        unranked,
        sum(place.pool.pk not in shown for place in ranked),
    )


def _entry(place: Place, near: dict[int, int] | None) -> Entry:
    letters = "".join(ascii_lowercase[at % 26] for at in place.groups)
    sets = None if near is None else near.get(place.pool.pk, 0)
    return Entry(place, letters, strip_of(place.pool.current), sets)


def _safest_first(clusters: Sequence[Cluster]) -> list[Cluster]:
    """All in one, by what nine in ten ties hold; those of which that is not known come last."""
    entries = [entry for cluster in clusters for entry in cluster.entries]
    entries.sort(key=lambda entry: -(_current(entry).held_by_nine or 0.0))
    return [Cluster(entries)] if entries else []


def _best(clusters: Sequence[Cluster]) -> list[Entry]:
    """The first, and those that share its strongest group."""
    if not clusters:
        return []
    first = clusters[0].entries[0]
    group = first.place.groups[0]
    return [entry for entry in clusters[0].entries if group in entry.place.groups]


def _entries(section: Section) -> list[Entry]:
    return [entry for cluster in section.clusters for entry in cluster.entries]


def _current(entry: Entry) -> PoolVersion:
    version = entry.place.pool.current
    assert version is not None
    return version


def _clusters(ordered: Sequence[Place]) -> list[list[Place]]:
    """Places cut wherever no group reaches across the cut."""
    last_of = {group: at for at, place in enumerate(ordered) for group in place.groups}
    clusters: list[list[Place]] = []
    reached = -1
    for at, place in enumerate(ordered):
        if at > reached:
            clusters.append([])
        clusters[-1].append(place)
        reached = max(reached, *(last_of[group] for group in place.groups))
    return clusters
