"""One's own session: its sets, its file to download, correct or withdraw. Moderators read it."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from results.intake import amend
from results.intake.unit_repair import advised_unit, repair_unit
from results.models import Session
from results.normalising.written_step import advised_resolution, take_advised_resolution
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only, own_or_moderated
from results.pools import selectors
from rigs.refusals import Refused

SETS_SHOWN = 200


@require_safe
@contributors_only
@never_cache
def session(request: HttpRequest, pk: int) -> HttpResponse:
    """What was sent on a day, in which version, and what became of it."""
    found = get_object_or_404(own_or_moderated(request, _sessions()), pk=pk)
    own = found.contributor_id == contributor_behind(request).pk
    return render(
        request,
        "pages/bench/session.html",
        {
            "session": found,
            "later": getattr(found, "replaced_by", None),
            "own": own,
            "amendable": own and found.standing == Session.Standing.CURRENT,
            "sets": selectors.sets_of_session(found.pk)[:SETS_SHOWN],
            "advised_resolution": advised_resolution(found),
            "advised_unit": advised_unit(found),
        },
    )


@require_POST
@contributors_only
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a session of one's own out of every figure."""
    found = _own(request, pk)
    try:
        amend.withdraw(found, contributor_behind(request), request.POST.get("reason", ""))
    except Refused as refusal:
        messages.error(request, refusal.detail)
    else:
        messages.success(request, _("Withdrawn. It counts in no figure and stays in your history."))
    return redirect("pages:session", pk)


@require_POST
@contributors_only
def take_resolution(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the step that the readings are written to as the resolution of the rig."""
    found = _own(request, pk)
    try:
        resolution = take_advised_resolution(contributor_behind(request).user, found)
    except Refused as refusal:
        messages.error(request, refusal.detail)
    else:
        messages.success(
            request,
            _("The resolution of this revision is %(resolution)s now. Its sessions are recomputed.")
            % {"resolution": resolution},
        )
    return redirect("pages:session", pk)


@require_POST
@contributors_only
def take_unit(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the version with the unit that was meant, in place of this one."""
    found = _own(request, pk)
    try:
        receipt = repair_unit(contributor_behind(request), found)
    except Refused as refusal:
        messages.error(request, refusal.detail)
        return redirect("pages:session", pk)
    messages.success(request, _("The corrected version was stored and is being worked out."))
    return redirect("pages:session", receipt.session.pk)


def _own(request: HttpRequest, pk: int) -> Session:
    return get_object_or_404(_sessions(), pk=pk, contributor=contributor_behind(request))


def _sessions() -> QuerySet[Session]:
    return Session.objects.select_related("revision__rig", "replaces", "contributor")
