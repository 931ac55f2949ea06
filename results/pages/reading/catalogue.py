"""Pages of a connection, a line and a club, and the search by name."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.cache import add_never_cache_headers
from django.views.decorators.http import require_safe

from results.accounts.clubs import invite
from results.catalogue import selectors as lookups
from results.catalogue.connections import connections_visible_to
from results.pages.own_line import own_line_of
from results.pages.showing import render
from results.pages.vocabulary import QUICK_MEANS, SLIM_MEANS
from results.statistics.pool_fit import LEAST_TESTERS
from rigs import permissions
from rigs.models import Club

ROWS = 50
LONGEST_SEARCH = 80


@require_safe
def connection(request: HttpRequest, pk: int) -> HttpResponse:
    """A join: its names, how it is tied, and what it holds on each line pair."""
    found = get_object_or_404(connections_visible_to(request.user), pk=pk)
    pools = Paginator(lookups.pools_of(found), ROWS).get_page(request.GET.get("page"))
    lines = [line.strip() for line in found.description.splitlines() if line.strip()]
    context = {
        "connection": found,
        "steps": lines if len(lines) > 1 else [],
        "slim_means": SLIM_MEANS,
        "quick_means": QUICK_MEANS,
        "page": pools,
        "own_line": own_line_of(request, pools),
        "least_testers": LEAST_TESTERS,
    }
    return render(request, "pages/reading/connection.html", context)


@require_safe
def line(request: HttpRequest, pk: int) -> HttpResponse:
    """A line: its label, what it held straight, and the joins tied in it."""
    found = get_object_or_404(lookups.lines_visible_to(request.user), pk=pk)
    strengths = lookups.straight_strengths_of(found)
    pools = list(lookups.pools_on(found)[:ROWS])
    return render(
        request,
        "pages/reading/line.html",
        {
            "line": found,
            "page": Paginator(strengths, ROWS).get_page(request.GET.get("page")),
            "pools": pools,
            "own_line": own_line_of(request, pools),
            "least_testers": LEAST_TESTERS,
        },
    )


@require_safe
def club(request: HttpRequest, pk: int) -> HttpResponse:
    """A club and those of its members who show it; for members the link that invites others."""
    found = get_object_or_404(Club, pk=pk)
    page = Paginator(lookups.members_of_club(found), ROWS).get_page(request.GET.get("page"))
    reader = permissions.contributor_behind(request.user)
    is_member = reader is not None and reader.club_id == found.pk
    context = {"club": found, "page": page, "invitation": ""}
    if reader is not None and is_member:
        link = reverse("pages:club-invitation", args=[invite(reader)])
        context["invitation"] = request.build_absolute_uri(link)
    answer = render(request, "pages/reading/club.html", context)
    if is_member:
        add_never_cache_headers(answer)
    return answer


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Joins, lines, testers, clubs and rigs by name; without words, the first of each."""
    words = request.GET.get("q", "")[:LONGEST_SEARCH].replace("\x00", "")
    found = lookups.search(request.user, words)
    near = [] if found else lookups.near_names(request.user, words)
    context = {"words": words, "found": found, "most": lookups.MOST_FOUND, "near": near}
    return render(request, "pages/reading/search.html", context)
