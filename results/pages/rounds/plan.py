"""Rounds that there are, and setting one up."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from results.models import Connection, Round, SealedSession
from results.pages.account.forms import refusal_text
from results.pages.rounds.forms import DeadlineForm, SetUp
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.rounds import selectors
from results.rounds.allocating import open_round
from results.rounds.closing import close
from results.rounds.entering import enter, withdraw
from results.rounds.receiving import take_back
from results.rounds.set_up import change, extend, set_up
from results.statistics.rounds.effects import LEAST_PARTICIPANTS as LEAST_FOR_A_MEAN
from rigs import permissions
from rigs.models import Contributor
from rigs.refusals import Conflict, Refused

MOST_LISTED = 100
FORM = require_http_methods(["GET", "HEAD", "POST"])


class EntryForm(forms.Form):
    """The code by which one enters a round."""

    entry_code = forms.CharField(
        label=gettext_lazy("Code of the round"),
        max_length=40,
        help_text=gettext_lazy("eight letters and digits, from the organiser"),
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "characters"}),
    )


@require_safe
@never_cache
def rounds(request: HttpRequest) -> HttpResponse:
    """Rounds of all clubs, and those that one has part in."""
    return _listed(request, EntryForm(initial={"entry_code": request.GET.get("code", "")[:40]}))


@require_POST
@contributors_only
def enter_round(request: HttpRequest) -> HttpResponseBase:
    """Take part in the round of a code."""
    form = EntryForm(request.POST)
    if not form.is_valid():
        return _listed(request, form, status=422)
    try:
        entered = enter(contributor_behind(request), form.cleaned_data["entry_code"])
    except Refused as refusal:
        said = refusal_text(refusal) if refusal.findings else refusal.detail
        form.add_error("entry_code", said)
        return _listed(request, form, status=422)
    messages.success(request, _("You take part."))
    return redirect("pages:round", entered.round_id)


def _listed(request: HttpRequest, form: EntryForm, status: int = 200) -> HttpResponse:
    contributor = permissions.contributor_behind(request.user)
    form.label_suffix = ""
    context = {
        "contributor": contributor,
        "club": contributor.club if contributor else None,
        "own": [(one, one.title) for one in selectors.rounds_of(contributor)[:MOST_LISTED]]
        if contributor
        else (),
        "rounds": selectors.rounds()[:MOST_LISTED],
        "form": form,
    }
    return render(request, "pages/rounds/list.html", context, status=status)


@FORM
@contributors_only
@never_cache
def plan(request: HttpRequest, pk: int | None = None) -> HttpResponseBase:
    """Set up a round of one's club, or change it before it is opened."""
    contributor = contributor_behind(request)
    of = None if pk is None else get_object_or_404(Round, pk=pk, organiser=contributor)
    if of is not None and of.state != Round.State.SETTING_UP:
        return _deadline(request, contributor, of)
    form = SetUp(request.POST or None, of)
    if request.method == "POST" and form.is_valid():
        try:
            made = (
                change(contributor, of, form.draft()) if of else set_up(contributor, form.draft())
            )
            return redirect("pages:round", made.pk)
        except Refused as refusal:
            form.refuse(refusal)
    context = {
        "setup": form,
        "form": form.plan,
        "rows": form.wrong_rows,
        "of": pk,
        "club": contributor.club,
        "joins": Connection.objects.filter(accepted=True, parameters__isnull=False)
        .distinct()
        .order_by("name")
        .prefetch_related("parameters"),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "pages/rounds/plan.html", context, status=status)


def _deadline(request: HttpRequest, contributor: Contributor, of: Round) -> HttpResponseBase:
    """The last day for results of an open round, all else of which stays; of a closed one all."""
    if of.state == Round.State.CLOSED:
        messages.info(request, _("The round is closed: nothing of it is changed any more."))
        return redirect("pages:round", of.pk)
    sent = request.POST if request.method == "POST" else None
    form = DeadlineForm(sent, initial={"results_by": of.results_by}, label_suffix="")
    if sent is not None and form.is_valid():
        try:
            extend(contributor, of, form.cleaned_data["results_by"])
        except Refused as refusal:
            said = refusal_text(refusal) if refusal.findings else refusal.detail
            form.add_error("results_by" if refusal.findings else None, said)
        else:
            messages.success(request, _("The last day is moved, and everyone has a notice of it."))
            return redirect("pages:round", of.pk)
    context = {"form": form, "round": of, "title": of.title}
    status = 200 if sent is None else 422
    return render(request, "pages/rounds/deadline.html", context, status=status)


@require_POST
@contributors_only
def open_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw the codes; from now on results are taken."""
    found = _of_insiders(request, pk)
    try:
        open_round(contributor_behind(request), found)
    except Conflict as refusal:
        messages.error(request, refusal.detail)
    else:
        messages.success(request, _("The round is open, and the codes are drawn."))
    return redirect("pages:round", found.pk)


@FORM
@contributors_only
@never_cache
def close_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the round for good, after a warning."""
    found = get_object_or_404(selectors.rounds(), pk=pk, organiser=contributor_behind(request))
    if request.method == "POST":
        close(contributor_behind(request), found)
        messages.success(request, _("The round is closed, and its report is being computed."))
        return redirect("pages:round", pk)
    senders = selectors.senders(found)
    context = {
        "round": found,
        "title": found.title,
        "senders": sum(one.sent > 0 for one in senders),
        "least": LEAST_FOR_A_MEAN,
        "unsent": [
            (one.participant.contributor.handle, one.sent, one.codes)
            for one in senders
            if one.sent < one.codes
        ],
    }
    return render(request, "pages/rounds/close.html", context)


@require_POST
@contributors_only
def leave(request: HttpRequest, pk: int) -> HttpResponse:
    """Take part no more."""
    withdraw(contributor_behind(request), _of_insiders(request, pk))
    messages.success(request, _("You take part no more. Until the close you can enter again."))
    return redirect("pages:rounds")


@require_POST
@contributors_only
def take_back_sealed(request: HttpRequest, pk: int) -> HttpResponse:
    """Take results back before the close, so that their codes can be sent again."""
    contributor = contributor_behind(request)
    own = SealedSession.objects.filter(participant__contributor=contributor)
    sealed = get_object_or_404(own.select_related("participant__round"), pk=pk)
    take_back(contributor, sealed)
    messages.success(request, _("Taken back: these codes can be sent again."))
    return redirect("pages:round", sealed.participant.round_id)


def _of_insiders(request: HttpRequest, pk: int) -> Round:
    """A round that one has part in. Raises Http404 for others'."""
    found = get_object_or_404(selectors.rounds(), pk=pk)
    if not selectors.is_insider(found, contributor_behind(request)):
        raise Http404
    return found
