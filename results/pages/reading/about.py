"""What the figures mean, with a worked example, and cautions before pulling."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.templatetags.static import static
from django.views.decorators.http import require_safe

from results.models.declared import DECLARED
from results.pages.figures import decimal
from results.pages.reading.worked_example import (
    JOINED_KGF,
    STRAIGHT_KGF,
    worked_example,
)
from results.pages.showing import render


@require_safe
def about(request: HttpRequest) -> HttpResponse:
    """Each statistic in words, then in figures."""
    explained = {figure.anchor: figure for figure in reversed(DECLARED) if figure.explained}
    context = {
        "example": worked_example(),
        "joined": [decimal(each, 1) for each in JOINED_KGF],
        "straight": [decimal(each, 1) for each in STRAIGHT_KGF],
        "explained": list(reversed(explained.values())),
    }
    return render(request, "pages/reading/about.html", context)


@require_safe
def cautions(request: HttpRequest) -> HttpResponse:
    """What hurts, and what the figures are not for."""
    return render(request, "pages/cautions.html")


@require_safe
def icon(_request: HttpRequest) -> HttpResponse:
    """The icon, where a browser looks for it by itself: on pages that name none, as the admin's."""
    return redirect(static("pages/icon.svg"))


@require_safe
def privacy(request: HttpRequest) -> HttpResponse:
    """What is kept, what is shown, for how long, and how to have it removed."""
    return render(request, "pages/reading/privacy.html")
