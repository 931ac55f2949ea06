"""One pool: its forest plot, its figures in words, the sets behind them and their history."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from results import lookups
from results.pages.pool_words import statements
from results.statistics.pooling import LEAST_TESTERS

SETS_PER_PAGE = 100
VERSIONS_SHOWN = 20


@dataclass(frozen=True)
class Endings:
    """How the pulls of a pool ended."""

    modes: Mapping[str, int]
    outlasted: int
    counted: int


@require_safe
def one_pool(request: HttpRequest, pk: int) -> HttpResponse:
    """A pool that has been computed at least once."""
    pool = get_object_or_404(lookups.drawn_pools(), pk=pk)
    assert pool.current is not None
    sets = lookups.sets_of(pool)
    page = Paginator(sets, SETS_PER_PAGE).get_page(request.GET.get("page"))
    versions = list(lookups.history_of(pool)[: VERSIONS_SHOWN + 1])
    return render(
        request,
        "pages/pool.html",
        {
            "pool": pool,
            "version": pool.current,
            "picture": request.build_absolute_uri("forest.png"),
            "statements": statements(pool.current),
            "endings": _endings(sets.values_list("join_itself", "failure_modes", "counted")),
            "page": page,
            "versions": versions[:VERSIONS_SHOWN],
            "more_versions": len(versions) > VERSIONS_SHOWN,
            "least_testers": LEAST_TESTERS,
        },
    )


def _endings(sets: Iterable[tuple[dict[str, Any], dict[str, int], int]]) -> Endings:
    modes: Counter[str] = Counter()
    outlasted = counted = 0
    for join_itself, of_set, pulls in sets:
        modes.update(of_set)
        outlasted += join_itself.get("outlasted", 0)
        counted += pulls
    return Endings(dict(modes), outlasted, counted)
