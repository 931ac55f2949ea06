"""The administrator's status page: backlog, workers, failures and screening."""

from __future__ import annotations

import tomllib
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.response import TemplateResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods
from redis import RedisError

from deploy.observing import workers
from deploy.observing.health import unapplied_migrations
from results.jobs import operations, queue
from results.models import StalePool
from results.pools import recompute
from results.review.desk.waiting_work import waiting_work

SHOWN = 50
MISSED_AFTER = timedelta(minutes=1)
"""Workers report every two seconds, and the sweeper after every sweep."""


class RetryForm(forms.Form):
    """Which failed jobs to run again."""

    def __init__(self, sent: Any) -> None:
        super().__init__(sent)
        self.fields["jobs"] = forms.ModelMultipleChoiceField(
            operations.failed_jobs(),
            error_messages={
                "required": "Choose the jobs to run again.",
                "invalid_choice": "Job %(value)s has not failed, or is already running again.",
            },
        )


@admin.site.admin_view
@require_http_methods(["GET", "HEAD", "POST"])
def operational_status(request: HttpRequest) -> HttpResponse:
    """The page; a POST runs failed jobs or computes failed pools again. For administrators only."""
    if not (request.user.is_active and request.user.is_superuser):
        raise PermissionDenied
    if request.method == "POST":
        _compute_again(request) if "pools" in request.POST else _run_again(request)
        return redirect("operational-status")
    context = {**admin.site.each_context(request), "title": "Operational status", **_status()}
    return TemplateResponse(request, "admin/status.html", context)


def _run_again(request: HttpRequest) -> None:
    form = RetryForm(request.POST)
    if form.is_valid():
        count = queue.retry(job.pk for job in form.cleaned_data["jobs"])
        messages.success(request, f"Sent to run again: {count}.")
    else:
        for error in form.errors["jobs"]:
            messages.error(request, str(error))


def _compute_again(request: HttpRequest) -> None:
    failed = operations.failed_pools().filter(pk__in=_numbers(request.POST.getlist("pools")))
    count = recompute.recompute_failed(failed.values_list("pk", flat=True))
    messages.success(request, f"Sent to be computed again: {count}.")


def _numbers(sent: list[str]) -> list[int]:
    return [int(text) for text in sent if text.isascii() and text.isdigit() and len(text) < 19]


def _status() -> dict[str, Any]:
    backlog, failed = operations.backlog(), operations.failed_jobs()
    return {
        "version": version(),
        "unapplied": unapplied_migrations(),
        "backlog": backlog,
        "oldest_job_at": _before(backlog.oldest_job_s),
        "oldest_mark_at": _before(backlog.oldest_mark_s),
        "last_finished_at": operations.last_finished_at(),
        "failed": failed[:SHOWN],
        "failed_pools": operations.failed_pools()[:SHOWN],
        "stale": _stale_pools()[:SHOWN],
        "screening": operations.screening_counts(),
        "waiting": waiting_work(),
        "embedded": settings.EMBEDDED,
        **_workers(),
    }


def _workers() -> dict[str, Any]:
    try:
        seen = workers.seen()
    except RedisError as error:
        return {"queue_problem": type(error).__name__}
    latest = timezone.now() - MISSED_AFTER
    return {
        "workers": [(name, at, at < latest) for name, at in seen.items()],
        "sweeper_seen": workers.SWEEPER in seen,
    }


def _stale_pools() -> QuerySet[StalePool]:
    marks = StalePool.objects.select_related("pool__connection")
    return marks.order_by("marked_at", "pk")


def _before(seconds: float) -> datetime | None:
    return timezone.now() - timedelta(seconds=seconds) if seconds else None


@cache
def version() -> str:
    """The version of this code."""
    with (settings.BASE_DIR / "pyproject.toml").open("rb") as file:
        return str(tomllib.load(file)["project"]["version"])
