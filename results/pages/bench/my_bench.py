"""My bench: rigs and their health, sessions and jobs, what is held and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.contrib import messages
from django.contrib.auth.models import User
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from results.models import PullSet, WaitingSession
from results.pages.account.desk import desk_of
from results.pages.bench import selectors
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.review import decisions
from results.review.notices import mark_read, notices_of, shown_notices
from results.rounds.selectors import parts_to_send, still_sealed
from rigs import selectors as rig_selectors
from rigs.metrology.validity import calibration_validity
from rigs.models import Contributor, Rig
from rigs.refusals import Refused

SESSIONS_A_PAGE, NOTICES_SHOWN = 10, 5


@dataclass(frozen=True)
class RigHealth:
    """A rig as it stands today; ``calibrated_on`` is None where this revision never was."""

    rig: Rig
    standing: str
    calibrated_on: date | None


@require_safe
@contributors_only
@never_cache
def bench(request: HttpRequest) -> HttpResponse:
    """Where a tester begins."""
    contributor = contributor_behind(request)
    held = selectors.held_sets(contributor)
    unread = notices_of(contributor).filter(read_at=None)[:NOTICES_SHOWN]
    sessions = Paginator(selectors.latest_sessions(contributor), SESSIONS_A_PAGE)
    return render(
        request,
        "pages/bench/bench.html",
        {
            "contributor": contributor,
            **desk_of(request.user),
            "rigs": list(_rigs(contributor)),
            "held": held,
            "withdrawn": selectors.withdrawn_sessions(contributor),
            "notices": shown_notices(unread, {each.pull_set.pk: each.said for each in held}),
            "waiting_sessions": contributor.waiting_sessions.exclude(
                state=WaitingSession.State.STORED
            ).prefetch_related("proposals")[:NOTICES_SHOWN],
            "to_send": [(one, one.round.title) for one in parts_to_send(contributor)],
            "sealed": [
                (one, one.participant.round.title)
                for one in still_sealed(contributor)[:SESSIONS_A_PAGE]
            ],
            "page": sessions.get_page(request.GET.get("page")),
        },
    )


def _rigs(contributor: Contributor) -> Iterator[RigHealth]:
    """Each of one's rigs with its latest calibration, in three queries."""
    rigs = list(rig_selectors.rigs().filter(owner=contributor))
    latest = {rig.latest.pk: rig for rig in rigs}
    calibrations = (
        rig_selectors.current_calibrations().prefetch_related(None).filter(revision__in=latest)
    )
    newest = {each.revision_id: each.made_on for each in reversed(calibrations)}
    today = timezone.now().date()
    for revision_id, rig in latest.items():
        made_on = newest.get(revision_id)
        yield RigHealth(rig, calibration_validity(made_on, today) if made_on else "", made_on)


@require_POST
@contributors_only
def read_notices(request: HttpRequest) -> HttpResponse:
    """Note that one has read what there was."""
    mark_read(contributor_behind(request))
    return redirect("pages:account" if "account" in request.POST else "pages:bench")


@require_POST
@contributors_only
def say(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer in the thread of one's own set, or appeal against a decision on it."""
    assert isinstance(request.user, User)
    pull_set = get_object_or_404(PullSet.objects.select_related("session__contributor"), pk=pk)
    if not decisions.may_follow(request.user, pull_set):
        raise Http404
    verb = decisions.appeal if "appeal" in request.POST else decisions.answer
    try:
        verb(by=request.user, pull_set=pull_set, text=request.POST.get("text", ""))
    except Refused as refusal:
        messages.error(request, refusal.detail)
    else:
        messages.success(request, _("Sent. A moderator will read it."))
    if "account" in request.POST:
        return redirect(f"{reverse('pages:account')}#thread-{pk}")
    return redirect("pages:bench")
