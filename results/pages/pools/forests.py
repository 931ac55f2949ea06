"""Forest plots at stable addresses, so that a tester can post them.

Readers ask again before they show one that they kept, so that none outlives its figure.
"""

from __future__ import annotations

import vl_convert
from django.core.cache import caches
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_safe

from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.code_version import tagged
from results.models import Pool, PoolVersion

PICTURE_WIDTH = 1200
A_DAY_S = 24 * 60 * 60


def _tag(_request: HttpRequest, pk: int) -> str | None:
    edition = edition_of_pool(pk)
    return tagged(edition) if edition else None


def _current(pk: int) -> PoolVersion:
    pool = get_object_or_404(Pool.objects.published().defer("current__figures"), pk=pk)
    if pool.current is None or not pool.current.forest_light:
        raise Http404
    return pool.current


def drawing(svg: str) -> HttpResponse:
    """A drawing by itself."""
    response = HttpResponse(svg, content_type="image/svg+xml")
    # A drawing opened by itself is a document: nothing in it may run or load anything.
    response["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response


@require_safe
@cache_control(no_cache=True)
@condition(etag_func=_tag)
def light(_request: HttpRequest, pk: int) -> HttpResponse:
    """The forest plot for a light ground."""
    return drawing(_current(pk).forest_light)


@require_safe
@cache_control(no_cache=True)
@condition(etag_func=_tag)
def dark(_request: HttpRequest, pk: int) -> HttpResponse:
    """The forest plot for a dark ground."""
    return drawing(_current(pk).forest_dark)


@require_safe
@cache_control(no_cache=True)
@condition(etag_func=_tag)
def picture(_request: HttpRequest, pk: int) -> HttpResponse:
    """The forest plot on white, as PNG; drawn once a version."""
    version = _current(pk)
    drawn = caches["kept"].get_or_set(
        f"forest-{version.pk}", lambda: on_white(version.forest_light), timeout=A_DAY_S
    )
    return HttpResponse(drawn, content_type="image/png")


def on_white(svg: str) -> bytes:
    """The drawing as PNG, twice its size in pixels."""
    start = svg.index(">") + 1
    ground = '<rect width="100%" height="100%" fill="#ffffff"/>'
    drawn: bytes = vl_convert.svg_to_png(svg[:start] + ground + svg[start:], scale=2)
    return drawn
