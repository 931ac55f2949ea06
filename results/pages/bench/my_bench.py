"""My bench: rigs and their health, sessions and jobs, what is held and why."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from results.models import PullSet, WaitingSession
from results.pages.account.desk import desk_of
from results.pages.bench import selectors
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.pools.wanted import gains_for
from results.review import decisions
from results.review.notices import mark_read, notices_of, shown_notices
from results.rounds.selectors import parts_to_send, rounds_to_tie_for, still_sealed
from rigs import selectors as rig_selectors
from rigs.metrology.validity import calibration_validity
from rigs.models import Contributor, Rig
from rigs.refusals import Refused

SESSIONS_A_PAGE, NOTICES_SHOWN = 10, 5
NUMBER = re.compile(r"[0-9]{1,18}")


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
    unread = notices_of(contributor).filter(read_at=None)
    new = list(unread[:NOTICES_SHOWN])
    sessions = Paginator(selectors.latest_sessions(contributor), SESSIONS_A_PAGE)
    context = {
        "contributor": contributor,
        **desk_of(request.user),
        "rigs": list(_rigs(contributor)),
        "held": held,
        "more_held": selectors.how_many_more_held(contributor, held),
        "withdrawn": selectors.withdrawn_sessions(contributor),
        "notices": shown_notices(new, {each.pull_set.pk: each.said for each in held}),
        "more_notices": unread.count() - len(new) if len(new) == NOTICES_SHOWN else 0,
        "waiting_sessions": contributor.waiting_sessions.exclude(
            state=WaitingSession.State.STORED
        ).prefetch_related("proposals")[:NOTICES_SHOWN],
        "to_tie": rounds_to_tie_for(contributor),
        "to_send": [(one, one.round.title) for one in parts_to_send(contributor)],
        "sealed": [
            (one, one.participant.round.title)
            for one in still_sealed(contributor)[:SESSIONS_A_PAGE]
        ],
        "page": sessions.get_page(request.GET.get("page")),
        "next": next(iter(gains_for(contributor, 1)), None),
    }
    return render(request, "pages/bench/bench.html", {**context, "to_do": _to_do(context)})


def _to_do(found: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a bench asks of its tester: the places of it, and each in a few words."""
    held = [each for each in found["held"] if each.pull_set.state == PullSet.State.HELD]
    late = [each for each in found["rigs"] if each.standing in ("due", "expired")]
    counts = (
        ("#new", len(found["notices"]) + found["more_notices"], _new),
        ("#held", len(held), _held),
        ("#to-tie", len(found["to_tie"]), _to_tie),
        ("#to-pull", len(found["to_send"]), _to_pull),
        ("#rigs", len(late), _to_calibrate),
    )
    return [(place, said(number) % {"n": number}) for place, number, said in counts if number]


def _new(n: int) -> str:
    return ngettext("read %(n)d new notice", "read %(n)d new notices", n)


def _held(n: int) -> str:
    return ngettext("explain %(n)d held set", "explain %(n)d held sets", n)


def _to_tie(n: int) -> str:
    return ngettext("tie for %(n)d round", "tie for %(n)d rounds", n)


def _to_pull(n: int) -> str:
    return ngettext("pull for %(n)d round", "pull for %(n)d rounds", n)


def _to_calibrate(n: int) -> str:
    return ngettext("calibrate %(n)d rig", "calibrate %(n)d rigs", n)


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
    """Note that one has read the notices that the page showed."""
    shown = [int(each) for each in request.POST.getlist("notice") if NUMBER.fullmatch(each)]
    mark_read(contributor_behind(request), shown)
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
