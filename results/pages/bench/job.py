"""The progress of processing a session."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from results.models import Job
from results.pages.showing import render
from results.pools import selectors
from results.public.rows import sessions_for

STEPS = {
    Job.Step.WAITING: _("waiting"),
    Job.Step.NORMALISING: _("comparing each set with its straight line"),
    Job.Step.SCREENING: _("checking for results that can't be right"),
    Job.Step.POOLING: _("recomputing pools"),
    Job.Step.FINISHED: _("finished"),
}
SETS_SHOWN = 100


@require_safe
@never_cache
def job(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One job: its steps, and the outcome of its sets."""
    visible = Job.objects.filter(sessions_for(request.user, "session__"))
    found = get_object_or_404(
        visible.select_related("session__revision__rig__owner", "session__contributor"), pk=pk
    )
    order = list(STEPS)
    at = order.index(Job.Step(found.step))
    steps = [
        (
            words,
            "done" if place < at or found.state == Job.State.DONE else "now" if place == at else "",
        )
        for place, words in enumerate(STEPS.values())
    ]
    sets = selectors.sets_of_session(found.session_id) if found.state == Job.State.DONE else None
    return render(
        request,
        "pages/bench/job.html",
        {
            "job": found,
            "steps": steps,
            "unfinished": found.state in (Job.State.QUEUED, Job.State.RUNNING),
            "ahead": Job.objects.filter(
                state=Job.State.QUEUED, created_at__lt=found.created_at
            ).count(),
            "own": found.session.contributor.user_id == request.user.pk,
            "sets": sets[:SETS_SHOWN] if sets is not None else (),
        },
    )
