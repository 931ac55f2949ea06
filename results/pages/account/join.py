"""Choosing a handle, for an account that was made by an administrator and has none yet."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from results.accounts.join import join as make_contributor
from results.pages.account.desk import desk_of
from results.pages.account.forms import JoiningForm, refusal_text
from results.pages.showing import render
from rigs.models import Contributor
from rigs.refusals import Refused


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
def join(request: HttpRequest) -> HttpResponse:
    """Choose a handle and agree to the licence; then the account has a bench."""
    assert isinstance(request.user, User)
    if Contributor.objects.filter(user=request.user).exists():
        return redirect("pages:bench")
    form = JoiningForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            make_contributor(request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error("handle", refusal_text(refusal))
        else:
            return redirect("pages:bench")
    return render(
        request,
        "pages/account/join.html",
        {"form": form, **desk_of(request.user)},
        status=422 if request.method == "POST" else 200,
    )
