"""Coming into a club by a member's invitation, and leaving it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from results.accounts.clubs import invitation_of, join_club, leave_club
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from rigs.refusals import Conflict


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def invitation(request: HttpRequest, key: str) -> HttpResponseBase:
    """What one is invited into, and the button that takes it."""
    if request.method == "POST":
        return _join(request, key)
    found = invitation_of(key)
    if found is None:
        messages.error(
            request, _("This invitation is too old or was cut short: ask for another one.")
        )
        return redirect("pages:rounds")
    contributor = contributor_behind(request)
    context = {"club": found.club, "by": found.by.handle, "now_in": contributor.club}
    return render(request, "pages/account/invitation.html", context)


def _join(request: HttpRequest, key: str) -> HttpResponse:
    try:
        joined = join_club(contributor_behind(request), key)
    except Conflict as refusal:
        messages.error(request, refusal.detail)
        return redirect("pages:rounds")
    messages.success(request, _("You are a member of %(club)s.") % {"club": joined.name})
    return redirect("pages:club", joined.pk)


@require_POST
@contributors_only
def leave(request: HttpRequest) -> HttpResponse:
    """Be a member no more."""
    leave_club(contributor_behind(request))
    messages.success(request, _("You are in no club now."))
    return redirect("pages:account")
