"""A pool in a frame on somebody else's page: its current version, or one that stays."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.clickjacking import xframe_options_exempt
from django.views.decorators.http import require_safe

from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.cached_view import cache_by_edition
from results.pages.pools.strips import strip_of
from results.pages.showing import render
from results.pools import selectors
from results.statistics.pool_fit import LEAST_TESTERS


def _edition(pk: int, number: int | None = None) -> str | None:  # noqa: ARG001
    """That of the pool, which also says when a version is superseded."""
    return edition_of_pool(pk)


@xframe_options_exempt
@require_safe
@cache_by_edition(_edition)
def embedded(request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
    """The figure of a pool in brief. It shows the same to everyone and takes nothing in."""
    pool = get_object_or_404(selectors.pools(), pk=pk)
    assert pool.current is not None
    version = pool.current
    if number is not None:
        version = get_object_or_404(selectors.versions_of(pool).defer("figures"), number=number)
    context = {
        "pool": pool,
        "version": version,
        "stays": number is not None,
        "superseded": number is not None and version.superseded,
        "strip": strip_of(version),
        "least_testers": LEAST_TESTERS,
    }
    return render(request, "pages/pools/embedded.html", context)
