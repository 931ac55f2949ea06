"""What failed and may be run again: jobs and pools, on the moderators' desk."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from results.jobs import operations, queue
from results.pools import recompute
from rigs.permissions import is_moderator

SHOWN = 50


class AgainForm(forms.Form):
    """Which failed jobs and pools are to run again."""

    def __init__(self, sent: Any) -> None:
        super().__init__(sent)
        failed = {"jobs": operations.failed_jobs(), "pools": operations.failed_pools()}
        for name, rows in failed.items():
            self.fields[name] = forms.ModelMultipleChoiceField(rows, required=False)


def failures() -> dict[str, Any]:
    """What the desk shows of them, the latest first."""
    return {
        "failed_jobs": operations.failed_jobs()[:SHOWN],
        "failed_pools": operations.failed_pools()[:SHOWN],
    }


@admin.site.admin_view
@require_POST
def run_again(request: HttpRequest) -> HttpResponse:
    """Have the chosen jobs and pools run again. Moderators and administrators alone may."""
    user = request.user
    if not (is_moderator(user) or (user.is_active and getattr(user, "is_superuser", False))):
        raise PermissionDenied
    form = AgainForm(request.POST)
    if form.is_valid():
        count = queue.retry(job.pk for job in form.cleaned_data["jobs"])
        count += recompute.recompute_failed(pool.pk for pool in form.cleaned_data["pools"])
        messages.success(request, gettext("Sent to run again: %(number)s.") % {"number": count})
    else:
        messages.error(request, gettext("One of them has not failed, or is already running again."))
    return redirect("admin:results_reviewcase_changelist")
