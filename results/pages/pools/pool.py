"""One pool: its forest plot, its figures in words, the sets behind them and their history."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from results.http_cache.cache_marks import edition_of_pool_page
from results.http_cache.cached_view import cache_by_edition
from results.models import Pool, PoolVersion
from results.pages.measures import COOKIE as MEASURES
from results.pages.own_line import COOKIE as OWN_LINE
from results.pages.own_line import OwnLine, own_line_of
from results.pages.pools.club_rounds import club_rounds_of, with_rounds
from results.pages.pools.line_pair import contrasts_of, query_of
from results.pages.pools.opening import opening
from results.pages.pools.products import products_of
from results.pages.pools.sensitivity import apart_of, groups_of
from results.pages.pools.words import methods, statements
from results.pages.showing import render
from results.pools import selectors
from results.pools.conclusions import conclusions
from results.pools.figures import Figures, figures_of, findings_of
from results.statistics.pool_fit import LEAST_TESTERS
from rigs.models import Contributor

SETS_PER_PAGE = 100
VERSIONS_SHOWN = 20
TESTERS_SHOWN = 12
SURE_ENOUGH = 4.0
"""Satterthwaite degrees of freedom below which a CR2 interval is not to be relied on
(Tipton 2015, Psychological Methods 20:375-393)."""


MODERATED = ("name", "coefficient", "ci_low", "ci_high", "p_adjusted", "df")


@dataclass(frozen=True)
class Covariate:
    """Change of the efficiency for one unit more of a property, as a ratio less one."""

    name: str
    change: float
    low: float
    high: float
    p: float
    shaky: bool


@dataclass(frozen=True)
class WithoutTester:
    """The pooled efficiency without one tester, and how far that moves it."""

    handle: str
    efficiency: float
    shift: float


@require_safe
@cache_by_edition(edition_of_pool_page, cookies=(MEASURES, OWN_LINE))
def one_pool(request: HttpRequest, pk: int) -> HttpResponse:
    """A pool that has been computed at least once."""
    pool = get_object_or_404(selectors.drawn_pools(), pk=pk)
    assert pool.current is not None
    version = pool.current
    page = Paginator(selectors.sets_of(pool), SETS_PER_PAGE).get_page(request.GET.get("page"))
    page.object_list = with_rounds(page.object_list)
    versions = list(selectors.history_of(pool)[: VERSIONS_SHOWN + 1])
    without = _without_testers(version)
    own_line = own_line_of(request, [pool])
    return render(
        request,
        "pages/pools/pool.html",
        {
            "pool": pool,
            "version": version,
            "freshness": pool.freshness,
            "picture": reverse("pages:card", args=[pool.pk]),
            "opening": opening(version, own_line),
            "own_line": own_line,
            "loads": _loads(own_line, version),
            "statements": statements(version),
            "methods": methods(),
            "findings": findings_of(version),
            "without_strength": _without_strength(version),
            "products": products_of(version),
            "rounds": club_rounds_of(version),
            "groups": groups_of(version),
            "apart": apart_of(version),
            "moderators": _covariates(version),
            "without": without[:TESTERS_SHOWN],
            "sets_waiting": selectors.sets_waiting(pool),
            "more_without": len(without) > TESTERS_SHOWN,
            "contrasts": _contrasts_with(pool),
            "pair": query_of(pool),
            "page": page,
            "versions": versions[:VERSIONS_SHOWN],
            "more_versions": len(versions) > VERSIONS_SHOWN,
            "several_versions": len([past for past in versions if past.efficiency]) > 1,
            "least_testers": LEAST_TESTERS,
        },
    )


@require_safe
def one_version(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """A dated version of a pool: what made it, and the sets that came and went with it."""
    pool = get_object_or_404(selectors.pools(), pk=pk)
    version = get_object_or_404(selectors.versions_of(pool).defer("figures"), number=number)
    changed = selectors.changes_with(version)
    return render(
        request,
        "pages/pools/version.html",
        {
            "pool": pool,
            "version": version,
            "own_line": own_line_of(request, [pool]),
            "picture": reverse("pages:version-card", args=[pool.pk, number]),
            "page": Paginator(changed, SETS_PER_PAGE).get_page(request.GET.get("page")),
            "earlier": pool.versions.filter(number=number - 1).defer("figures").first(),
            "later": pool.versions.filter(number=number + 1).exists(),
            "least_testers": LEAST_TESTERS,
        },
    )


def _without_strength(version: PoolVersion) -> int:
    """Pulls that are no strength, beside those of which the worst is said."""
    worst = findings_of(version).get("worst")
    return version.pulls - worst["pulls"] if worst else 0


def _loads(own_line: OwnLine, version: PoolVersion) -> list[tuple[str, str]]:
    """What a reader's own line is expected to hold with this join, by what is expected."""
    load = partial(own_line.load, version.pool_id)
    found = [
        (_("On average it holds"), load(version.efficiency)),
        (
            _("If you tie it, your set averages"),
            load(version.prediction_low, version.prediction_high),
        ),
        (_("Nine in ten of your ties hold at least"), load(version.held_by_nine)),
    ]
    return [(name, loads) for name, loads in found if loads]


def _covariates(version: PoolVersion) -> list[Covariate]:
    tried = map(Figures, findings_of(version).get("moderators", {}).get("tried", []))
    return [
        Covariate(
            name=each["name"],
            change=math.expm1(each["coefficient"]),
            low=math.expm1(each["ci_low"]),
            high=math.expm1(each["ci_high"]),
            p=each["p_adjusted"],
            shaky=each["df"] < SURE_ENOUGH,
        )
        for each in tried
        if each.has(*MODERATED)
    ]


def _without_testers(version: PoolVersion) -> list[WithoutTester]:
    """The pool without each tester, the most telling first."""
    figures = figures_of(version)
    left_out = figures.get("leave_one_out")
    if not left_out or not left_out.has("tester", "mu") or not figures.has("mu"):
        return []
    mu = figures["mu"]
    moved = sorted(
        zip(left_out["tester"], left_out["mu"], strict=True), key=lambda each: -abs(each[1] - mu)
    )
    shown = Contributor.objects.in_bulk([tester for tester, _mu in moved[: TESTERS_SHOWN + 1]])
    return [
        WithoutTester(shown[tester].handle, math.exp(other), math.exp(other) - math.exp(mu))
        for tester, other in moved[: TESTERS_SHOWN + 1]
    ]


def _contrasts_with(pool: Pool) -> list[Any]:
    """This join against others of its line pair, pulled on the same rig and day."""
    comparison = selectors.direct_comparison(selectors.line_pair_of(pool))
    if comparison is None or not comparison.figures:
        return []
    rivals = list(selectors.rivals(pool))
    return [
        contrast
        for contrast in contrasts_of(comparison, rivals, conclusions(rivals, comparison))
        if pool.pk in (contrast.stronger.pk, contrast.weaker.pk)
    ]
