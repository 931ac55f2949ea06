"""Rigs: the list, and one with its history, calibrations and charts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from results.pages.rigs.corrections import history_of
from results.pages.rigs.health import Appraised, health_of
from results.pages.showing import render
from results.public.readers import reader_of
from results.public.seeing import seen
from results.rig_checks.control_charts import charted_of, series_of
from results.rig_checks.revision_comparison import Bridge, bridges_from
from rigs import selectors
from rigs.calibration_report import appraise
from rigs.models import RigRevision
from rigs.permissions import may

RIGS_SHOWN = 200


@dataclass(frozen=True)
class Chapter:
    """One revision of the story: what changed, whether readings moved, how it was calibrated."""

    revision: RigRevision
    bridge: Bridge | None
    calibrations: Sequence[Appraised]


@require_safe
def rig_list(request: HttpRequest) -> HttpResponse:
    """One's own rigs first, then everybody's."""
    rigs = selectors.rigs()
    own = rigs.filter(owner__user_id=request.user.pk) if request.user.is_authenticated else []
    context = {"own": own, "rigs": rigs[:RIGS_SHOWN], "more": rigs.count() > RIGS_SHOWN}
    return render(request, "pages/rigs/list.html", context)


@require_safe
def rig(request: HttpRequest, pk: int) -> HttpResponse:
    """A rig: can it be believed, and what was done to it."""
    found = get_object_or_404(selectors.rigs(), pk=pk)
    revisions = list(found.revisions.all())
    calibrations: dict[int, list[Appraised]] = defaultdict(list)
    for calibration in selectors.current_calibrations().filter(revision__rig=found):
        appraised = Appraised(calibration, appraise(calibration))
        calibrations[calibration.revision_id].append(appraised)
    series = series_of(found)
    bridges = bridges_from(series, revisions)
    by_revision = {bridge.after.pk: bridge for bridge in bridges}
    latest = found.latest
    charts = charted_of(series)
    located = may(request.user, "rigs.locate_rig", found)
    return render(
        request,
        "pages/rigs/one.html",
        {
            "rig": found,
            "latest": latest,
            "located": located,
            "own": may(request.user, "rigs.revise_rig", found),
            "health": health_of(
                latest,
                calibrations[latest.pk],
                seen(charts, reader_of(request)),
                bridges,
                timezone.now().date(),
            ),
            "story": [
                Chapter(each, by_revision.get(each.pk), calibrations[each.pk])
                for each in reversed(revisions)
            ],
            # The first stands open, the others fold: one with a signal, where there is any.
            "charts": sorted(charts, key=lambda one: not one.signals),
            "history": history_of(found) if located else [],
        },
    )
