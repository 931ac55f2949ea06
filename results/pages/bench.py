"""My bench: rigs and their health, sessions and jobs, what is held and why."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@require_safe
@login_required
@never_cache
def bench(request: HttpRequest) -> HttpResponse:
    """Where a tester begins."""
    return render(request, "pages/bench/bench.html", {})
