"""Charts of a pool and of a line pair, by the version they show."""

from __future__ import annotations

import hashlib

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_safe

from results.charts import cards, forest_plot, pool_charts
from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.code_version import tagged
from results.models import Pool, PoolVersion
from results.pages.drawn import Form, answer, shown
from results.pages.figures import PROVISIONAL_BELOW
from results.pages.pools.line_pair import pools_asked_for
from results.pools import selectors
from results.pools.figures import figures_of, findings_of
from rigs.models import Contributor


def _tag(_request: HttpRequest, pk: int, form: Form) -> str | None:  # noqa: ARG001
    edition = edition_of_pool(pk)
    return tagged(edition) if edition else None


@require_safe
@cache_control(no_cache=True)
@condition(etag_func=_tag)
def forest(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The forest plot, at an address that a tester can post.

    Readers ask again before they show one that they kept, so that none outlives its figure.
    """
    pool = get_object_or_404(Pool.objects.published().defer("current__figures"), pk=pk)
    if pool.current is None or not pool.current.forest_light:
        raise Http404
    return shown(pool.current.forest_light, form)


@require_safe
@cache_control(no_cache=True)
def pulls(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """Single pulls of the join and of straight line."""
    version = _current(pk)
    if not findings_of(version).has("pulls", "straight"):
        raise Http404
    return answer(f"pulls-{version.pk}", lambda: pool_charts.pulls_svg(version), form)


@require_safe
@cache_control(no_cache=True)
def history(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The pooled efficiency from version to version."""
    version = _current(pk)
    pool = version.pool
    return answer(
        f"history-{version.pk}",
        lambda: pool_charts.history_svg(pool, list(selectors.versions_of(pool).defer("figures"))),
        form,
    )


@require_safe
@cache_control(no_cache=True)
def left_out(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The pool without each tester in turn."""
    version = _current(pk)
    testers = (figures_of(version).get("leave_one_out") or {}).get("tester", [])
    handles = Contributor.objects.in_bulk(testers)
    found = pool_charts.left_out_forest(
        version, {tester: found.handle for tester, found in handles.items()}
    )
    if found is None:
        raise Http404
    key = hashlib.sha256(repr(found).encode()).hexdigest()
    return answer(f"left-out-{key}", lambda: forest_plot.svg(found), form)


@require_safe
@cache_control(no_cache=True)
def card(_request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
    """The picture shown where a link to the pool, or to this version of it, is posted."""
    version, note = _current(pk), ""
    if version.pool.freshness.state == "updating":
        note = cards.BEING_RECOMPUTED
    elif version.efficiency and version.testers < PROVISIONAL_BELOW:
        note = "provisional"
    if number is not None and number != version.number:
        pool = version.pool
        version = get_object_or_404(selectors.versions_of(pool).defer("figures"), number=number)
        version.pool, note = pool, "superseded"
    down = "-taken-down" if version.taken_down_at else ""
    key = f"card-{version.pk}{down}-{note}".replace(" ", "-")
    return answer(key, lambda: cards.pool_card(version, note), "picture")


@require_safe
@cache_control(no_cache=True)
def service_card(_request: HttpRequest) -> HttpResponse:
    """The picture shown where a link to a page without a figure of its own is posted."""
    return answer("card-of-the-service", cards.service_card, "picture")


@require_safe
@cache_control(no_cache=True)
def joins(request: HttpRequest, form: Form) -> HttpResponse:
    """The joins of one line pair side by side."""
    found = pool_charts.joins_forest(pools_asked_for(request))
    if found is None:
        raise Http404
    key = hashlib.sha256(repr(found).encode()).hexdigest()
    return answer(f"joins-{key}", lambda: forest_plot.svg(found), form)


def _current(pk: int) -> PoolVersion:
    pool = get_object_or_404(selectors.pools(), pk=pk)
    assert pool.current is not None
    pool.current.pool = pool
    return pool.current
