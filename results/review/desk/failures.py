"""What failed and may be run again: jobs and pools, first in the moderators' queue."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin, messages
from django.contrib.admin.views.main import ChangeList
from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from results.jobs import operations, queue
from results.pools import recompute
from results.review.desk.queue import FAILED
from rigs.permissions import is_moderator

SHOWN = 50


class AgainForm(forms.Form):
    """Which failed jobs and pools are to run again."""

    def __init__(self, sent: Any) -> None:
        super().__init__(sent)
        failed = {"jobs": operations.failed_jobs(), "pools": operations.failed_pools()}
        for name, rows in failed.items():
            self.fields[name] = forms.ModelMultipleChoiceField(rows, required=False)


class Queue(ChangeList):
    """The queue: what failed stands before the cases, since no one sees any result of it."""

    def get_results(self, request: HttpRequest) -> None:
        """The rows of this page, failures with the first where open ones are asked for."""
        super().get_results(request)
        found = request.GET.get("waiting", FAILED) == FAILED
        first = found and self.page_num == 1 and not self.query
        self.failed_jobs = operations.failed_jobs()[:SHOWN] if first else []
        self.failed_pools = operations.failed_pools()[:SHOWN] if first else []
        self.selects = "action_checkbox" in self.list_display
        self.runs_again = may_run_again(request.user)


def may_run_again(user: User | AnonymousUser) -> bool:
    """Moderators and administrators alone may."""
    return is_moderator(user) or (user.is_active and getattr(user, "is_superuser", False))


@admin.site.admin_view
@require_POST
def run_again(request: HttpRequest) -> HttpResponse:
    """Have the chosen jobs and pools run again."""
    if not may_run_again(request.user):
        raise PermissionDenied
    form = AgainForm(request.POST)
    if form.is_valid():
        count = queue.retry(job.pk for job in form.cleaned_data["jobs"])
        count += recompute.recompute_failed(pool.pk for pool in form.cleaned_data["pools"])
        messages.success(request, gettext("Sent to run again: %(number)s.") % {"number": count})
    else:
        messages.error(request, gettext("One of them has not failed, or is already running again."))
    return redirect("admin:results_reviewcase_changelist")
