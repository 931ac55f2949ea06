"""Drawings of a rig at stable addresses, alike for all readers: light, dark, and as a picture."""

from __future__ import annotations

import hashlib

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from results.charts import rig_charts
from results.models import Baseline, PullSet
from results.pages.drawn import Form, answer
from results.public.readers import Reader
from results.public.seeing import seen
from results.rig_checks.control_charts import Series, join_series, straight_series
from rigs import selectors


@require_safe
@cache_control(max_age=60)
def residuals(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The residual plot of a calibration, which never changes."""
    calibration = get_object_or_404(selectors.calibrations(), pk=pk)
    name = str(seen(calibration, Reader()))
    key = hashlib.sha256(name.encode()).hexdigest()
    return answer(f"residuals-{pk}-{key}", lambda: rig_charts.residual_svg(calibration, name), form)


@require_safe
@cache_control(max_age=60)
def watch_straight(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The chart that a baseline belongs to; its address stays when sessions are added."""
    baseline = get_object_or_404(Baseline.objects.select_related("session", "line"), pk=pk)
    return _watch(straight_series(baseline), form)


@require_safe
@cache_control(max_age=60)
def watch_join(_request: HttpRequest, pk: int, form: Form) -> HttpResponse:
    """The chart that a pull set belongs to."""
    found = PullSet.objects.select_related("session", "connection", "main_line", "leader_line")
    return _watch(join_series(get_object_or_404(found, pk=pk)), form)


def _watch(series: Series | None, form: Form) -> HttpResponse:
    if series is None or series.watch is None:
        raise Http404
    points = [(point.sources, point.mean_N, point.cv) for point in series.points]
    shown = seen(series, Reader())
    words = (shown.what, str(shown.revision))
    key = hashlib.sha256(repr((*words, series.revision.pk, points)).encode()).hexdigest()
    return answer(f"watch-{key}", lambda: rig_charts.watch_svg(shown) or "", form)
