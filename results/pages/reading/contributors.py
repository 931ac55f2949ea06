"""One contributor: their club, their rigs, and what they have pulled."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from results.pages.showing import render
from results.pools import selectors
from rigs.selectors import profiles

SETS_SHOWN = 60


@require_safe
def contributor(request: HttpRequest, handle: str) -> HttpResponse:
    """The public side of a contributor."""
    found = get_object_or_404(profiles(), handle__iexact=handle)
    shown = found.shows_sets or found.closed_at
    sets = list(selectors.counting_sets_by(found)[: SETS_SHOWN + 1]) if shown else []
    return render(
        request,
        "pages/reading/contributor.html",
        {
            "contributor": found,
            "sets": sets[:SETS_SHOWN],
            "more_sets": len(sets) > SETS_SHOWN,
        },
    )
