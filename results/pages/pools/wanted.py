"""What is wanted: where a tester more would bring most."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from results.http_cache.cache_marks import edition_of_pools
from results.http_cache.cached_view import cache_by_edition
from results.pages.measures import COOKIE as MEASURES
from results.pages.showing import render
from results.pools.wanted import DIFFERENCE, gains_for, short_pools, undecided
from results.statistics.pool_fit import LEAST_TESTERS
from rigs.permissions import contributor_behind

MOST = 30
MOST_OF_ONES_OWN = 12


@require_safe
@cache_by_edition(edition_of_pools, cookies=(MEASURES,))
def wanted(request: HttpRequest) -> HttpResponse:
    """Pools that are short of testers, joins to be separated, and what a tester can pull next."""
    contributor = contributor_behind(request.user)
    return render(
        request,
        "pages/pools/wanted.html",
        {
            "contributor": contributor,
            "gains": gains_for(contributor, MOST_OF_ONES_OWN) if contributor else (),
            "short": short_pools(MOST),
            "undecided": undecided(MOST),
            "least_testers": LEAST_TESTERS,
            "difference": DIFFERENCE,
        },
    )
