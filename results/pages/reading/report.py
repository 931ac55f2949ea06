"""Reporting a set or a name: a form that takes no account."""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from results.models import Report
from results.pages.showing import render
from results.review.reports import LONGEST_TEXT, SUBJECTS, report
from rigs.permissions import contributor_behind
from rigs.refusals import Conflict, Invalid


class ReportForm(forms.Form):
    """What is wrong with it."""

    text = forms.CharField(
        label=gettext_lazy("What is wrong with it?"),
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=gettext_lazy("only moderators read this"),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def report_it(request: HttpRequest, subject: str, pk: int) -> HttpResponse:
    """Say what is wrong with a set or a name."""
    if subject not in SUBJECTS:
        raise Http404
    get_object_or_404(SUBJECTS[Report.Subject(subject)], pk=pk)
    form = ReportForm(request.POST if request.method == "POST" else None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        by = contributor_behind(request.user)
        address = get_adapter().get_client_ip(request)
        try:
            report(kind=subject, number=pk, text=form.cleaned_data["text"], by=by, address=address)
        except (Conflict, Invalid) as refusal:
            form.add_error("text", refusal.detail)
        else:
            messages.success(request, _("Thank you. A moderator will look at it."))
            return redirect("pages:pools")
    shown = {"form": form, "kind": subject.replace("-", " "), "number": pk}
    status = 422 if request.method == "POST" else 200
    return render(request, "pages/reading/report.html", shown, status=status)
